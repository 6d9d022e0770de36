-- purpose: capacity checks of a line with the item their mould was making
-- grain:   one container weighed empty and filled
-- reads:   current_capacity_checks, mould_spans, job_spans
-- params:  line, from_time, to_time (to_time not included), lehr_s (looked back by)
-- units:   g, degrees C
with checks as (
    select line, sampled_at, mould, sample, empty_g, filled_g, water_c, fill, batch, file_line, sampled_at - to_seconds($lehr_s) as formed_at
    from current_capacity_checks
    where line = $line and sampled_at >= $from_time and sampled_at < $to_time
),
with_mould as (
    select c.*, m.section, m.gob, m.item as mould_item
    from checks c
    asof left join mould_spans m on m.line = c.line and m.number = c.mould and m.fitted_at <= c.formed_at
),
with_job as (
    select c.*, coalesce(c.mould_item, j.item) as item
    from with_mould c
    asof left join job_spans j on j.line = c.line and j.started_at <= c.formed_at
)
select sampled_at, mould, sample, empty_g, filled_g, water_c, fill, section, gob, item, batch, file_line
from with_job
order by sampled_at, mould, sample;
