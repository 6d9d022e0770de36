-- purpose: how many files with rows kept speak of a window; those of feeds without a time say nothing of it
-- grain:   one row
-- reads:   batches
-- params:  from_time, to_time (to_time not included)
select count(*) as files
from batches
where rows_kept > 0 and data_from < $to_time and data_to >= $from_time;
