-- purpose: containers inspected and rejected at a line in bins of time, by station and mould number read; longer windows stay whole
-- grain:   bin or window x station x mould number
-- reads:   new_ware
-- params:  line, stations (list), from_time, to_time (to_time not included), bin_s
-- units:   containers; inspected: new ware, without what had been through before, s
with windows as (
    select
        station, mould, inspected, rejected, refed, greatest(window_s, $bin_s) as window_s,
        case when window_s >= $bin_s then window_start else time_bucket(to_seconds($bin_s), window_start, $from_time::timestamp) end as moment
    from new_ware
    where line = $line and station in (select unnest($stations::varchar[])) and window_start >= $from_time and window_start < $to_time
),
summed as (
    select
        moment, window_s, station, mould, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected,
        coalesce(sum(refed), 0)::bigint as refed
    from windows
    group by moment, window_s, station, mould
)
select * from summed order by moment, station, mould;
