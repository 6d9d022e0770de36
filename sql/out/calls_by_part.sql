-- purpose: defect calls at a line, by part of a time, station and defect
-- grain:   part x station x defect
-- reads:   current_reject_counts
-- params:  line, edges (starts of the parts and the end of the last)
-- units:   calls
-- note:    a window of up to five minutes belongs to the part in which it begins; a longer one is shared out over the parts that it covers
with parts as (
    select number as part, ($edges::timestamp[])[number] as begins, ($edges::timestamp[])[number + 1] as ends
    from range(1, len($edges::timestamp[])) as counted (number)
),
windows as (
    select station, defect, window_start, window_start + to_seconds(window_s) as window_end, window_s, rejected as calls
    from current_reject_counts
    where
        line = $line
        and window_start >= list_min($edges::timestamp[]) - interval 1 day
        and window_start < list_max($edges::timestamp[])
),
short_ones as (
    select
        len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part, station, defect, calls::double as calls
    from windows
    where window_s <= 300 and window_start >= list_min($edges::timestamp[])
),
shared_out as (
    select
        part, station, defect,
        calls * epoch(least(window_end, ends) - greatest(window_start, begins)) / window_s as calls
    from windows
    inner join parts on window_start < ends and window_end > begins
    where window_s > 300
),
summed as (
    select part, station, defect, round(sum(calls))::bigint as calls
    from (select * from short_ones union all select * from shared_out)
    group by part, station, defect
)
select * from summed where calls > 0 order by part, station, defect;
