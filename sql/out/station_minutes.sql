-- purpose: what each station of a line inspected and rejected in each window, all moulds together
-- grain:   station x window
-- reads:   current_station_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   s, containers
with windows as (
    select
        station, window_start, max(window_s)::bigint as window_s, sum(inspected)::bigint as inspected,
        sum(rejected)::bigint as rejected, coalesce(sum(refed), 0)::bigint as refed
    from current_station_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by station, window_start
)
select * from windows order by station, window_start;
