-- purpose: the hours of a production day of reject_counts, in place of its minutes; a line in the order of line, hour, station, mould, defect
-- grain:   hour x station x mould number x defect
-- params:  from_time, to_time (to_time not included), batch
insert into reject_counts
with minutes as (
    select line, station, mould, defect, rejected, greatest(window_s, 3600) as window_s,
        case when window_s >= 3600 then window_start else time_bucket(interval '1 hour', window_start, $from_time::timestamp) end as hour
    from reject_counts
    where window_start >= $from_time and window_start < $to_time and replaced_at is null
),
hours as (
    select hour, line, station, mould, defect, max(window_s) as window_s, sum(rejected)::bigint as rejected
    from minutes
    group by hour, line, station, mould, defect
)
select
    hour, line, station, mould, defect, window_s, rejected, $batch,
    (row_number() over (order by line, hour, station, mould, defect))::integer, null, null
from hours
order by line, hour, station, mould, defect;
