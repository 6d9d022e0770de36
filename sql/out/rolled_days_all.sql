-- purpose: the production days whose minutes were rolled into hours
-- grain:   production day
-- reads:   rolled_days
-- units:   rows
select day, from_time, to_time, rolled_at, last_batch, rows_before, rows_after from rolled_days order by day;
