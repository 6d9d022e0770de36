-- purpose: how much of a window each station's counts cover, and how much of its new ware had no mould number read
-- grain:   station
-- reads:   new_ware
-- params:  line, from_time, to_time (to_time not included)
-- units:   s, containers
-- note:    a station's window of up to five minutes counts where it begins, a longer one by what of it lies in the time asked for
with windows as (
    select
        station, window_start, max(window_s) as window_s, sum(inspected) as inspected,
        sum(inspected) filter (where mould is null) as unread
    from new_ware
    where line = $line and window_start >= $from_time::timestamp - interval 1 day and window_start < $to_time
    group by station, window_start
),
inside as (
    select
        station, inspected, unread,
        case
            when window_s <= 300 then if(window_start >= $from_time, window_s, 0)
            else greatest(0, epoch(least(window_start + to_seconds(window_s), $to_time::timestamp) - greatest(window_start, $from_time::timestamp)))
        end as covered_s,
        window_s
    from windows
),
summed as (
    select
        station, round(sum(covered_s))::bigint as covered_s, round(sum(inspected * covered_s / window_s))::bigint as inspected,
        round(coalesce(sum(unread * covered_s / window_s), 0))::bigint as unread
    from inside
    where covered_s > 0
    group by station
)
select * from summed order by station;
