-- purpose: the newest moment that cold-end counts speak of, by the files that brought them
-- grain:   one row
-- reads:   batches
select max(data_to) as newest from batches where feed = 'station_counts' and rows_kept > 0;
