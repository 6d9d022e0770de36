-- purpose: gobs cut and rejected hot at a line, by item; windows that the limits cut through count in part
-- grain:   item
-- reads:   current_forming_counts, mould_spans, job_spans
-- params:  line, from_time, to_time (to_time not included), by the forming clock
-- units:   gobs
with windows as (
    select
        line, section, gob, window_start, gobs_cut, hot_rejected,
        (epoch(least(window_start + to_seconds(window_s), $to_time::timestamp))
            - epoch(greatest(window_start, $from_time::timestamp))) / window_s as part
    from current_forming_counts
    where line = $line and window_start < $to_time
        and window_start > $from_time::timestamp - interval 1 day
        and window_start + to_seconds(window_s) > $from_time
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
    select item, sum(gobs_cut * part) as gobs_cut, sum(hot_rejected * part) as hot_rejected, count(*) as windows
    from with_job
    group by item
)
select * from summed order by item;
