-- purpose: gobs cut and rejected hot at a line, by part of a time, item and section; windows that the outer limits cut through count in part
-- grain:   part x item x section
-- reads:   current_forming_counts, mould_spans, job_spans
-- params:  line, edges (starts of the parts and the end of the last, by the forming clock)
-- units:   gobs
with limits as (
    select list_min($edges::timestamp[]) as first_edge, list_max($edges::timestamp[]) as last_edge
),
windows as (
    select
        f.line, f.section, f.gob, f.window_start, f.gobs_cut, f.hot_rejected,
        (epoch(least(f.window_start + to_seconds(f.window_s), l.last_edge))
            - epoch(greatest(f.window_start, l.first_edge))) / f.window_s as share,
        len(list_filter($edges::timestamp[], lambda e: e <= greatest(f.window_start, l.first_edge))) as part
    from current_forming_counts f
    cross join limits l
    where f.line = $line and f.window_start < l.last_edge
        and f.window_start > l.first_edge - interval 1 day
        and f.window_start + to_seconds(f.window_s) > l.first_edge
),
with_mould as (
    select w.*, m.item as mould_item
    from windows w
    asof left join mould_spans m
        on m.line = w.line and m.section = w.section and m.gob = w.gob and m.fitted_at <= w.window_start
),
with_job as (
    select w.*, coalesce(w.mould_item, j.item) as item
    from with_mould w
    asof left join job_spans j on j.line = w.line and j.started_at <= w.window_start
),
summed as (
    select part, item, section, sum(gobs_cut * share) as gobs_cut, sum(hot_rejected * share) as hot_rejected
    from with_job
    group by part, item, section
)
select * from summed order by part, item, section;
