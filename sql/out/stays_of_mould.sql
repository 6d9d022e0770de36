-- purpose: every stay of a mould number in a cavity, on all lines, by the forming clock
-- grain:   one fitting
-- reads:   mould_spans
-- params:  number
select line, section, gob, number, item, fitted_at, ended_at
from mould_spans
where number = $number
order by fitted_at, line, section, gob;
