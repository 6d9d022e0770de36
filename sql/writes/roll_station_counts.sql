-- purpose: the hours of a production day of station_counts, in place of its minutes; a line in the order of line, hour, station, mould
-- grain:   hour x station x mould number
-- params:  from_time, to_time (to_time not included), batch
insert into station_counts
    (window_start, line, station, mould, window_s, inspected, rejected, refed, batch, file_line, replaced_at, replaced_by)
with minutes as (
    select line, station, mould, inspected, rejected, refed, greatest(window_s, 3600) as window_s,
        case when window_s >= 3600 then window_start else time_bucket(interval '1 hour', window_start, $from_time::timestamp) end as hour
    from station_counts
    where window_start >= $from_time and window_start < $to_time and replaced_at is null
),
hours as (
    select
        hour, line, station, mould, max(window_s) as window_s, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected,
        sum(refed)::bigint as refed
    from minutes
    group by hour, line, station, mould
)
select
    hour, line, station, mould, window_s, inspected, rejected, refed, $batch,
    (row_number() over (order by line, hour, station, mould))::integer, null, null
from hours
order by line, hour, station, mould;
