-- purpose: from when to when cold-end counts were taken in, by line
-- grain:   line
-- reads:   current_station_counts
select line, min(window_start) as first_window, max(window_start + to_seconds(window_s)) as last_window
from current_station_counts
group by line
order by line;
