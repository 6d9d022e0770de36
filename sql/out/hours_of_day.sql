-- purpose: new ware of a line's stations and what they rejected for a fault, by hour of a production day
-- grain:   hour x station
-- reads:   new_ware, current_reject_counts
-- params:  line, from_time, to_time (to_time not included), no_faults (list of codes)
-- units:   containers; rejected: without those called as no fault of theirs
with ware as (
    select
        floor(epoch(window_start - $from_time::timestamp) / 3600)::integer as hour,
        station, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected
    from new_ware
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by all
),
no_faults as (
    select
        floor(epoch(window_start - $from_time::timestamp) / 3600)::integer as hour,
        station, sum(rejected)::bigint as calls
    from current_reject_counts
    where line = $line and window_start >= $from_time and window_start < $to_time and list_contains($no_faults::varchar[], defect)
    group by all
)
select w.hour, w.station, w.inspected, greatest(w.rejected - coalesce(n.calls, 0), 0) as rejected
from ware w
left join no_faults n using (hour, station)
order by w.hour, w.station;
