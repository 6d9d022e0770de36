-- purpose: defect calls at a line in time, by station, mould number read and defect
-- grain:   window x station x mould number x defect
-- reads:   current_reject_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   calls
select window_start, window_s, station, mould, defect, rejected as calls
from current_reject_counts
where line = $line and window_start >= $from_time and window_start < $to_time
order by window_start, station, mould, defect;
