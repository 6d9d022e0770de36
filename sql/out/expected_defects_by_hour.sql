-- purpose: calls of each defect that a line's own past leads one to expect, hour by hour
-- grain:   hour x defect
-- reads:   expected_hours
-- params:  line, from_time, to_time: hours that reach into [from_time, to_time)
-- units:   calls; variance: from hour to hour beyond Poisson, in calls squared; doubt: standard deviation of expected itself
select hour, key as defect, expected, variance, doubt
from expected_hours
where kind = 'defect' and line = $line and hour > $from_time::timestamp - interval 1 hour and hour < $to_time
order by hour, defect;
