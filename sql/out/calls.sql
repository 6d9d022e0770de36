-- purpose: defect calls at a line, by station, mould number read and defect
-- grain:   station x mould number x defect
-- reads:   current_reject_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   calls
select station, mould, defect, sum(rejected)::bigint as calls
from current_reject_counts
where line = $line and window_start >= $from_time and window_start < $to_time
group by station, mould, defect
order by station, mould, defect;
