-- purpose: every file ever received, as it was counted, in the order of receipt
-- grain:   one file content under one feed
-- reads:   batches
-- units:   bytes, rows
select
    batch, feed, sha256, file, archived_as, bytes, received_at, rows_read, rows_kept, rows_refused, rows_unchanged, retry_of,
    data_from, data_to, note
from batches
order by batch;
