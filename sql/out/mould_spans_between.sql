-- purpose: the moulds that sat in the cavities of all lines at any time of a window, by the forming clock, with the item that each made:
--          the mould log's, else that of the job that ran
-- grain:   one fitting, or the part of it in which the mould made one item
-- reads:   mould_spans, job_spans
-- params:  lines (list), from_time, to_time
-- note:    moulds are often fitted before their job starts, and can stay for the next: fitted_at and ended_at are those of the part
with here as (
    select line, section, gob, number, item as own_item, fitted_at, ended_at
    from mould_spans
    where list_contains($lines::varchar[], line) and fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
),
begun as (
    select line, section, gob, number, own_item, fitted_at, ended_at, fitted_at as begins from here
    union all
    select h.line, h.section, h.gob, h.number, h.own_item, h.fitted_at, h.ended_at, j.started_at as begins
    from here h
    join job_spans j on j.line = h.line and j.started_at > h.fitted_at and (h.ended_at is null or j.started_at < h.ended_at)
    where h.own_item is null
),
with_job as (
    select b.line, b.section, b.gob, b.number, coalesce(b.own_item, j.item) as item, b.fitted_at, b.ended_at, b.begins
    from begun b
    asof left join job_spans j on j.line = b.line and j.started_at <= b.begins
),
compared as (
    select
        line, section, gob, number, item, fitted_at, ended_at, begins,
        begins > fitted_at and item is not distinct from lag(item) over (partition by line, section, gob, fitted_at order by begins) as goes_on
    from with_job
),
parts as (
    select
        line, section, gob, number, item, begins as fitted_at,
        coalesce(lead(begins) over (partition by line, section, gob, fitted_at order by begins), ended_at) as ended_at
    from compared
    where not goes_on
),
inside as (
    select * from parts where fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
)
select * from inside order by line, section, gob, fitted_at;
