-- purpose: files of which rows read are not the rows kept and refused
-- grain:   one file
-- level:   fail
-- reads:   batches
-- units:   rows
select batch, feed, file, rows_read, rows_kept, rows_refused
from batches
where rows_read <> rows_kept + rows_refused
order by batch;
