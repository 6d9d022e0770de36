-- purpose: from when to when cold-end counts were taken in, by the files that brought them
-- grain:   one row
-- reads:   batches
select min(data_from) as first_window, max(data_to) as last_window
from batches
where feed in ('station_counts', 'counter_reads') and rows_kept > 0;
