-- purpose: temper checks of a line
-- grain:   one container
-- reads:   current_temper_checks
-- params:  line, from_time, to_time (to_time not included)
select sampled_at, mould, lane, temper, "by", batch, file_line
from current_temper_checks
where line = $line and sampled_at >= $from_time and sampled_at < $to_time
order by sampled_at, lane, mould;
