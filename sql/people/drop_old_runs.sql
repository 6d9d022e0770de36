-- purpose: forget all but the newest runs
-- grain:   run
-- params:  keep
delete from runs where number <= (select max(number) from runs) - $keep;
