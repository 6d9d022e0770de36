-- purpose: containers inspected and rejected at a line in time, by station and mould number read
-- grain:   window x station x mould number
-- reads:   new_ware
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers; inspected: new ware, without what had been through before
select window_start, window_s, station, mould, inspected, rejected, coalesce(refed, 0) as refed
from new_ware
where line = $line and window_start >= $from_time and window_start < $to_time
order by window_start, station, mould;
