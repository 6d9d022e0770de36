-- purpose: what of each hour of a line could not be judged, and why
-- grain:   hour x reason
-- reads:   hour_doubts
-- params:  line, from_time, to_time (to_time not included)
select hour, doubt
from hour_doubts
where line = $line and hour >= $from_time and hour < $to_time
order by hour, doubt;
