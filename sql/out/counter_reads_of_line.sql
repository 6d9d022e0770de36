-- purpose: running totals read at a line in time
-- grain:   one reading of one running total
-- reads:   current_counter_reads
-- params:  line, from_time, to_time (to_time included)
-- units:   containers
select read_at, line, station, counter, mould, defect, total
from current_counter_reads
where line = $line and read_at >= $from_time and read_at <= $to_time
order by station, counter, mould, defect, read_at;
