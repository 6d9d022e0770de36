-- purpose: the lehr time of a line by hour of inspection
-- grain:   hour
-- reads:   lehr_hours
-- params:  line, from_time, to_time (to_time not included)
-- units:   min
select hour, minutes, low, high, spread, measured, clear
from lehr_hours
where line = $line and hour >= $from_time and hour < $to_time
order by hour;
