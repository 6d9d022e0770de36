-- purpose: the stops of a line at any time of a window, by the forming clock
-- grain:   one stop
-- reads:   current_stoppages
-- params:  line, from_time, to_time
select section, stopped_at, restarted_at, cause, batch, file_line
from current_stoppages
where line = $line and stopped_at < $to_time and (restarted_at is null or restarted_at > $from_time)
order by stopped_at, section;
