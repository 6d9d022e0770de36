-- purpose: files received before that have one of these sizes
-- grain:   one file content under one feed
-- reads:   batches
-- params:  sizes (list)
-- units:   bytes
select feed, sha256, batch, file, archived_as, rows_kept, rows_refused
from batches
where bytes in (select unnest($sizes::bigint[])) and retry_of is null
order by batch;
