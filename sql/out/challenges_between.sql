-- purpose: challenges of all stations of the works
-- grain:   one challenge
-- reads:   current_challenge_checks
-- params:  from_time, to_time (to_time not included)
select checked_at, line, station, defect, passes, caught, "by", batch, file_line
from current_challenge_checks
where checked_at >= $from_time and checked_at < $to_time
order by checked_at, station, defect;
