-- purpose: defect calls at a line, by part of a time, station and defect
-- grain:   part x station x defect
-- reads:   current_reject_counts
-- params:  line, edges (starts of the parts and the end of the last)
-- units:   calls
with windows as (
    select
        station, defect, rejected as calls, len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part
    from current_reject_counts
    where line = $line and window_start >= list_min($edges::timestamp[]) and window_start < list_max($edges::timestamp[])
),
summed as (
    select part, station, defect, sum(calls)::bigint as calls
    from windows
    group by part, station, defect
)
select * from summed order by part, station, defect;
