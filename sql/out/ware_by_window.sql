-- purpose: containers inspected and rejected at a line in time, by station and mould number read
-- grain:   window x station x mould number
-- reads:   current_station_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
select window_start, window_s, station, mould, inspected, rejected
from current_station_counts
where line = $line and window_start >= $from_time and window_start < $to_time
order by window_start, station, mould;
