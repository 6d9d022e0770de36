-- purpose: containers inspected and rejected at a line, by station and mould number read
-- grain:   station x mould number
-- reads:   current_station_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
select station, mould, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected, count(*) as windows
from current_station_counts
where line = $line and window_start >= $from_time and window_start < $to_time
group by station, mould
order by station, mould;
