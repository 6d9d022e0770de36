-- purpose: until when minutes were rolled into hours; null where none were
-- grain:   one row
-- reads:   rolled_days
select max(to_time) as rolled_until from rolled_days;
