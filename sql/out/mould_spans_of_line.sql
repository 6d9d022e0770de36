-- purpose: the moulds that sat in a line's cavities at any time of a window, by the forming clock
-- grain:   one fitting
-- reads:   mould_spans
-- params:  line, from_time, to_time
select section, gob, number, item, fitted_at, ended_at
from mould_spans
where line = $line and fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
order by section, gob, fitted_at;
