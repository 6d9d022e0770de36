-- purpose: where and when ware broke in a window
-- grain:   one breakage at one place
-- reads:   current_breakages
-- params:  from_time, to_time (to_time not included)
select line, broke_at, place, cleared_at, note, "by", batch, file_line
from current_breakages
where broke_at >= $from_time and broke_at < $to_time
order by broke_at, line, place;
