-- purpose: keep what a close of a day answered; earlier revisions stay
-- grain:   one revision of one production day
-- params:  day, revision, at, answers, digest, moved
insert into closes by name
select
    $day as day, $revision as revision, $at as closed_at, coalesce(max(batch), 0) as last_batch, $answers as answers,
    $digest as digest, $moved as moved
from batches;
