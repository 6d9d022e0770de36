-- purpose: calls expected of each mould of a line by the hour
-- grain:   hour x mould
-- reads:   expected_hours
-- params:  line, from_time, to_time (to_time not included)
-- units:   calls
select hour, key as mould, sum(expected) as expected
from expected_hours
where kind = 'mould' and line = $line and hour >= $from_time and hour < $to_time
group by hour, key
order by hour, mould;
