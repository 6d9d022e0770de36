-- purpose: calls of some defects at a line in bins of time, by defect, station and mould number read; longer windows stay whole
-- grain:   defect x bin or window x station x mould number
-- reads:   current_reject_counts
-- params:  line, defects (list), from_time, to_time (to_time not included), bin_s
-- units:   calls, s
with windows as (
    select
        defect, station, mould, rejected, greatest(window_s, $bin_s) as window_s,
        case when window_s >= $bin_s then window_start else time_bucket(to_seconds($bin_s), window_start, $from_time::timestamp) end as moment
    from current_reject_counts
    where line = $line and defect in (select unnest($defects::varchar[])) and window_start >= $from_time and window_start < $to_time
),
summed as (
    select defect, moment, window_s, station, mould, sum(rejected)::bigint as calls
    from windows
    group by defect, moment, window_s, station, mould
)
select * from summed order by defect, moment, station, mould;
