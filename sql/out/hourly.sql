-- purpose: calls of each defect and ware of each station in blocks of time, for trends
-- grain:   block x station x defect (defect null: the ware row)
-- reads:   current_station_counts, current_reject_counts
-- params:  line, from_time, to_time (to_time not included), block_s
-- units:   containers, calls
with ware as (
    select
        to_timestamp(floor(epoch(window_start - $from_time::timestamp) / $block_s) * $block_s + epoch($from_time::timestamp)) as block,
        station, null::varchar as defect, sum(inspected)::bigint as inspected, sum(rejected)::bigint as n
    from current_station_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by all
),
calls as (
    select
        to_timestamp(floor(epoch(window_start - $from_time::timestamp) / $block_s) * $block_s + epoch($from_time::timestamp)) as block,
        station, defect, null::bigint as inspected, sum(rejected)::bigint as n
    from current_reject_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by all
),
both_parts as (
    select * from ware
    union all
    select * from calls
)
select block::timestamp as block, station, defect, inspected, n from both_parts order by block, station, defect;
