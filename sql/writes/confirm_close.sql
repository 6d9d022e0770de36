-- purpose: note that a revision still holds after everything received so far
-- grain:   one revision of one production day
-- params:  day, revision
update closes
set last_batch = (select coalesce(max(batch), 0) from batches)
where day = $day and revision = $revision;
