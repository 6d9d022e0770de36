-- purpose: gobs cut and rejected hot at a line; windows that the limits cut through count in part
-- grain:   one row
-- reads:   current_forming_counts
-- params:  line, from_time, to_time (to_time not included), by the forming clock
-- units:   gobs
with windows as (
    select
        gobs_cut, hot_rejected,
        (epoch(least(window_start + to_seconds(window_s), $to_time::timestamp))
            - epoch(greatest(window_start, $from_time::timestamp))) / window_s as share
    from current_forming_counts
    where line = $line and window_start < $to_time
        and window_start > $from_time::timestamp - interval 1 day
        and window_start + to_seconds(window_s) > $from_time
),
summed as (
    select coalesce(sum(gobs_cut * share), 0) as gobs_cut, coalesce(sum(hot_rejected * share), 0) as hot_rejected
    from windows
)
select * from summed;
