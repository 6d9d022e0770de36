-- purpose: calls expected at a line by its own past; hours that the limits cut through count in part
-- grain:   kind x key
-- reads:   expected_hours
-- params:  line, from_time, to_time (to_time not included)
-- units:   calls; variance: from window to window beyond Poisson, in calls squared; doubt: standard deviation of expected itself
with parts as (
    select
        kind, key, expected, variance, doubt,
        (epoch(least(hour + interval 1 hour, $to_time::timestamp)) - epoch(greatest(hour, $from_time::timestamp))) / 3600 as part
    from expected_hours
    where line = $line and hour > $from_time::timestamp - interval 1 hour and hour < $to_time
),
summed as (
    select
        kind, key, sum(expected * part) as expected, sum(variance * part * part) as variance,
        sum(doubt * part) as doubt, sum(part) as hours
    from parts
    group by kind, key
)
select * from summed order by kind, key;
