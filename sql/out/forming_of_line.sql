-- purpose: gobs cut and rejected hot at a line in time
-- grain:   window x section (x gob position)
-- reads:   current_forming_counts
-- params:  line, from_time, to_time (to_time not included), by the forming clock
-- units:   gobs
select window_start, window_s, section, gob, gobs_cut, hot_rejected
from current_forming_counts
where line = $line and window_start >= $from_time and window_start < $to_time
order by window_start, section, gob;
