-- purpose: the files of a feed that people typed in a page, newest first
-- grain:   one file
-- reads:   batches
-- params:  feed, most
select batch, file, archived_as, received_at
from batches
where feed = $feed and contains(file, '.typed-') and rows_read > 0
order by batch desc
limit $most;
