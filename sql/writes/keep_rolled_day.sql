-- purpose: note that a production day was rolled into hours
-- grain:   one production day
-- params:  day, from_time, to_time, at, last_batch, before, after
insert into rolled_days select $day, $from_time, $to_time, $at, $last_batch, $before, $after;
