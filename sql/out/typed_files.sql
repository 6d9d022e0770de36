-- purpose: the files of a feed that people typed in a page, newest first
-- grain:   one file
-- reads:   batches
-- params:  feed, mark (what stands in the names of such files), most
select batch, file, archived_as, received_at
from batches
where feed = $feed and contains(file, $mark) and rows_read > 0
order by batch desc
limit $most;
