-- purpose: containers inspected and rejected at a line, by part of a time and station
-- grain:   part x station
-- reads:   new_ware
-- params:  line, edges (starts of the parts and the end of the last)
-- units:   containers; inspected: new ware, without what had been through before; refed: that, null where the station does not tell it
-- note:    a window of up to five minutes belongs to the part in which it begins; a longer one is shared out over the parts that it covers
with parts as (
    select number as part, ($edges::timestamp[])[number] as begins, ($edges::timestamp[])[number + 1] as ends
    from range(1, len($edges::timestamp[])) as counted (number)
),
windows as (
    select station, window_start, window_start + to_seconds(window_s) as window_end, window_s, inspected, rejected, refed
    from new_ware
    where
        line = $line
        and window_start >= list_min($edges::timestamp[]) - interval 1 day
        and window_start < list_max($edges::timestamp[])
),
short_ones as (
    select
        len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part,
        station, inspected::double as inspected, rejected::double as rejected, refed::double as refed
    from windows
    where window_s <= 300 and window_start >= list_min($edges::timestamp[])
),
shared_out as (
    select part, station, inspected * share as inspected, rejected * share as rejected, refed * share as refed
    from (
        select
            parts.part, windows.*,
            epoch(least(window_end, ends) - greatest(window_start, begins)) / window_s as share
        from windows
        inner join parts on window_start < ends and window_end > begins
        where window_s > 300
    )
),
summed as (
    select
        part, station, round(sum(inspected))::bigint as inspected, round(sum(rejected))::bigint as rejected,
        round(sum(refed))::bigint as refed
    from (select * from short_ones union all select * from shared_out)
    group by part, station
)
select * from summed order by part, station;
