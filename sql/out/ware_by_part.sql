-- purpose: containers inspected and rejected at a line, by part of a time and station
-- grain:   part x station
-- reads:   current_station_counts
-- params:  line, edges (starts of the parts and the end of the last)
-- units:   containers
with windows as (
    select station, inspected, rejected, len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part
    from current_station_counts
    where line = $line and window_start >= list_min($edges::timestamp[]) and window_start < list_max($edges::timestamp[])
),
summed as (
    select part, station, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected
    from windows
    group by part, station
)
select * from summed order by part, station;
