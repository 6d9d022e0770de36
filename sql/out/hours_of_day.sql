-- purpose: ware and rejects of a line's stations by hour of a production day
-- grain:   hour x station
-- reads:   current_station_counts
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
select
    floor(epoch(window_start - $from_time::timestamp) / 3600)::integer as hour,
    station, sum(inspected)::bigint as inspected, sum(rejected)::bigint as rejected
from current_station_counts
where line = $line and window_start >= $from_time and window_start < $to_time
group by all
order by hour, station;
