-- purpose: the files that came after a batch and speak of a window
-- grain:   one file
-- reads:   batches
-- params:  after_batch, from_time, to_time
select batch, feed, file, archived_as, received_at, rows_kept, rows_replacing
from batches
where batch > $after_batch and rows_kept > 0 and coalesce(data_from, $from_time) < $to_time and coalesce(data_to, $to_time) >= $from_time
order by batch;
