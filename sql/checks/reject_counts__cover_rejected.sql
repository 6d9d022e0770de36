-- purpose: stations that rejected more containers than they made calls: reject_counts are missing or late
-- grain:   station
-- level:   warn
-- reads:   current_station_counts, current_reject_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers, calls
with rejected as (
    select station, sum(rejected)::bigint as rejected
    from current_station_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by station
),
called as (
    select station, sum(rejected)::bigint as calls
    from current_reject_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by station
),
short as (
    select r.station, r.rejected, coalesce(c.calls, 0) as calls
    from rejected r
    left join called c using (station)
    where r.rejected > coalesce(c.calls, 0)
)
select * from short order by station;
