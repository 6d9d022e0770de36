-- purpose: where and when moulds of one number sat, on any line
-- grain:   one fitting
-- reads:   mould_spans, job_spans
-- params:  number
with fitted as (
    select * from mould_spans where number = $number
),
with_job as (
    select f.line, f.section, f.gob, f.number, coalesce(f.item, j.item) as item, f.fitted_at, f.ended_at
    from fitted f
    asof left join job_spans j on j.line = f.line and j.started_at <= f.fitted_at
)
select * from with_job order by line, section, gob, fitted_at;
