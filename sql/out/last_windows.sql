-- purpose: until when each station's counts have come, looking back no further than a moment
-- grain:   station
-- reads:   current_station_counts
-- params:  from_time
with stations as (
    select line, station, max(window_start + to_seconds(window_s)) as last_window
    from current_station_counts
    where window_start >= $from_time
    group by line, station
)
select * from stations order by line, station;
