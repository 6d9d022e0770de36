-- purpose: keep what a close of a day answered; earlier revisions stay
-- grain:   one revision of one production day
-- params:  day, revision, at, answers, digest
insert into closes
select $day, $revision, $at, coalesce(max(batch), 0), $answers, $digest
from batches;
