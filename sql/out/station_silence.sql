-- purpose: the last window of each station, beside the last of its line and of the works, looking back no further than a moment
-- grain:   station
-- reads:   current_station_counts
-- params:  from_time
with stations as (
    select line, station, max(window_start + to_seconds(window_s)) as last_window, count(*) as windows
    from current_station_counts
    where window_start >= $from_time
    group by line, station
),
beside as (
    select
        line, station, last_window, windows,
        max(last_window) over (partition by line) as last_of_line, max(last_window) over () as last_of_works
    from stations
)
select * from beside order by line, station;
