-- purpose: calls of one defect at a line in bins of time, by station and mould number read; longer windows stay whole
-- grain:   bin or window x station x mould number
-- reads:   current_reject_counts
-- params:  line, defect, from_time, to_time (to_time not included), bin_s
-- units:   calls, s
with windows as (
    select
        station, mould, rejected, greatest(window_s, $bin_s) as window_s,
        case when window_s >= $bin_s then window_start else time_bucket(to_seconds($bin_s), window_start, $from_time::timestamp) end as moment
    from current_reject_counts
    where line = $line and defect = $defect and window_start >= $from_time and window_start < $to_time
),
summed as (
    select moment, window_s, station, mould, sum(rejected)::bigint as calls
    from windows
    group by moment, window_s, station, mould
)
select * from summed order by moment, station, mould;
