-- purpose: every fitting of a mould, blank or neck ring at a line in time
-- grain:   one fitting of one part at one cavity
-- reads:   current_mould_log
-- params:  line, from_time, to_time (to_time not included), by the forming clock
select fitted_at, section, gob, part, number, batch, file_line
from current_mould_log
where line = $line and fitted_at >= $from_time and fitted_at < $to_time
order by fitted_at, section, gob, part;
