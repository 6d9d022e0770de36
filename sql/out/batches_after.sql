-- purpose: what the files that came after a batch speak of
-- grain:   one file
-- reads:   batches
-- params:  after_batch
select batch, feed, received_at, data_from, data_to from batches where batch > $after_batch and rows_kept > 0 order by batch;
