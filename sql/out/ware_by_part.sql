-- purpose: containers inspected and rejected at a line, by part of a time and station
-- grain:   part x station
-- reads:   new_ware
-- params:  line, edges (starts of the parts and the end of the last)
-- units:   containers; inspected: new ware, without what had been through before; refed: that, null where the station does not tell it
with windows as (
    select station, inspected, rejected, refed, len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part
    from new_ware
    where line = $line and window_start >= list_min($edges::timestamp[]) and window_start < list_max($edges::timestamp[])
),
summed as (
    select part, station, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected, sum(refed)::bigint as refed
    from windows
    group by part, station
)
select * from summed order by part, station;
