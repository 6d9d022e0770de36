-- purpose: the moulds that sat in the cavities of all lines at any time of a window, by the forming clock, with the item of the mould log, else of the job
-- grain:   one fitting
-- reads:   mould_spans, job_spans
-- params:  lines (list), from_time, to_time
with here as (
    select line, section, gob, number, item, fitted_at, ended_at
    from mould_spans
    where list_contains($lines::varchar[], line) and fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
),
with_job as (
    select h.line, h.section, h.gob, h.number, coalesce(h.item, j.item) as item, h.fitted_at, h.ended_at
    from here h
    asof left join job_spans j on j.line = h.line and j.started_at <= h.fitted_at
)
select * from with_job order by line, section, gob, fitted_at;
