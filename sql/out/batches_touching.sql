-- purpose: how many files that came after a batch speak of a window
-- grain:   one row
-- reads:   batches
-- params:  after_batch, from_time, to_time
select count(*) as files
from batches
where batch > $after_batch and rows_kept > 0 and coalesce(data_from, $from_time) < $to_time and coalesce(data_to, $to_time) >= $from_time;
