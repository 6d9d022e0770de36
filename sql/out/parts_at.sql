-- purpose: the mould, blank and neck ring that sit in each cavity of a line at a moment, and since when, by the forming clock
-- grain:   one part of one cavity; a place that the last fitting left empty is not there
-- reads:   current_mould_log
-- params:  line, at (a fitting at that moment is not included)
with latest as (
    select section, gob, part, number, fitted_at
    from current_mould_log
    where line = $line and fitted_at < $at
    qualify row_number() over (partition by section, gob, part order by fitted_at desc) = 1
)
select section, gob, part, number, fitted_at
from latest
where number is not null
order by section, gob, part;
