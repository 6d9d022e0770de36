-- purpose: containers inspected and rejected at a line, by station and mould number read
-- grain:   station x mould number
-- reads:   new_ware
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers; inspected: new ware, without what had been through before
select
    station, mould, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected,
    coalesce(sum(refed), 0)::bigint as refed, count(*) as windows
from new_ware
where line = $line and window_start >= $from_time and window_start < $to_time
group by station, mould
order by station, mould;
