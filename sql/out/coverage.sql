-- purpose: how much of a window each station's counts cover, and how much of its new ware had no mould number read
-- grain:   station
-- reads:   new_ware
-- params:  line, from_time, to_time (to_time not included)
-- units:   s, containers
with windows as (
    select
        station, window_start, max(window_s) as window_s, sum(inspected) as inspected,
        sum(inspected) filter (where mould is null) as unread
    from new_ware
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by station, window_start
),
summed as (
    select
        station, sum(window_s)::bigint as covered_s, sum(inspected)::bigint as inspected,
        coalesce(sum(unread), 0)::bigint as unread
    from windows
    group by station
)
select * from summed order by station;
