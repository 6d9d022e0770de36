-- purpose: the rows behind the calls of one defect with one mould number read, minute by minute
-- grain:   one row of reject_counts
-- reads:   current_reject_counts
-- params:  line, defect, mould, from_time, to_time (to_time not included)
-- units:   calls
select window_start, window_s, station, rejected as calls, batch, file_line
from current_reject_counts
where line = $line and defect = $defect and mould = $mould and window_start >= $from_time and window_start < $to_time
order by window_start, station;
