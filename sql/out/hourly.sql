-- purpose: calls of each fault and new ware of each station in blocks of time, for trends
-- grain:   block x station x defect (defect null: the ware row)
-- reads:   new_ware, current_reject_counts
-- params:  line, from_time, to_time (to_time not included), block_s, no_faults (list of codes)
-- units:   containers (n of a ware row: rejected, without those called as no fault of theirs), calls
with ware as (
    select
        to_timestamp(floor(epoch(window_start - $from_time::timestamp) / $block_s) * $block_s + epoch($from_time::timestamp)) as block,
        station, null::varchar as defect, sum(inspected)::bigint as inspected, sum(rejected)::bigint as n
    from new_ware
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
no_faults as (
    select block, station, sum(n)::bigint as n from calls where list_contains($no_faults::varchar[], defect) group by block, station
),
both_parts as (
    select w.block, w.station, w.defect, w.inspected, greatest(w.n - coalesce(f.n, 0), 0) as n
    from ware w
    left join no_faults f using (block, station)
    union all
    select block, station, defect, inspected, n from calls where not list_contains($no_faults::varchar[], defect)
)
select block::timestamp as block, station, defect, inspected, n from both_parts order by block, station, defect;
