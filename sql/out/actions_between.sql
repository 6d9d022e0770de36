-- purpose: what was done at the hot end or at a station in a window
-- grain:   one action at one place
-- reads:   current_actions
-- params:  from_time, to_time (to_time not included)
select acted_at, line, kind, section, gob, station, mould, part, defect, value, signal, note, "by", batch, file_line
from current_actions
where acted_at >= $from_time and acted_at < $to_time
order by acted_at, line, kind, section, gob, station, mould;
