-- purpose: containers that passed some stations of a line in time
-- grain:   window
-- reads:   current_station_counts
-- params:  line, stations (their ids), from_time, to_time (to_time not included)
-- units:   containers
with summed as (
    select window_start, max(window_s) as window_s, (sum(inspected) - sum(rejected))::bigint as passed
    from current_station_counts
    where line = $line and list_contains($stations::varchar[], station)
        and window_start >= $from_time and window_start < $to_time
    group by window_start
)
select * from summed order by window_start;
