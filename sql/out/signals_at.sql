-- purpose: the signals of all lines as they last stood in a window of hours: open then, or closed within it
-- grain:   signal
-- reads:   signal_hours
-- params:  from_time, to_time (to_time not included)
with numbered as (
    select
        line, hour, signal, told,
        row_number() over (partition by signal order by hour desc) as back,
        count(*) over (partition by signal) as hours
    from signal_hours
    where hour >= $from_time and hour < $to_time
),
newest as (
    select line, hour, signal, told, hours from numbered where back = 1
)
select * from newest order by line, signal;
