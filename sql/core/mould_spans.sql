-- purpose: which mould sat in which cavity from when to when, by the forming clock; ended_at is null while it sits
-- grain:   one fitting of one blow mould at one cavity
-- reads:   current_mould_log
create or replace view mould_spans as
with fittings as (
    select
        line, section, gob, number, item, fitted_at,
        lead(fitted_at) over (partition by line, section, gob order by fitted_at) as ended_at
    from current_mould_log
    where part = 'mould'
),
fitted as (
    select * from fittings where number is not null
)
select * from fitted;
