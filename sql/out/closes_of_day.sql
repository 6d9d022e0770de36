-- purpose: every close of a production day
-- grain:   one revision
-- reads:   closes
-- params:  day
select day, revision, closed_at, last_batch, answers, digest, moved
from closes
where day = $day
order by revision;
