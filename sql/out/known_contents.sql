-- purpose: files whose bytes were received before
-- grain:   one file content under one feed
-- reads:   batches
-- params:  hashes (list of SHA-256)
select feed, sha256, batch, file, archived_as, rows_kept, rows_refused
from batches
where sha256 in (select unnest($hashes::varchar[])) and retry_of is null
order by batch;
