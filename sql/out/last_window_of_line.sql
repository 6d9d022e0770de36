-- purpose: until when cold-end counts of a line were taken in; a window is a day at most, so the last one to end began within a day of the last one to begin
-- grain:   one row, null without counts
-- reads:   current_station_counts
-- params:  line
with newest as (
    select window_start from current_station_counts where line = $line order by window_start desc limit 1
),
near as (
    select window_start, window_s
    from current_station_counts
    where line = $line and window_start >= (select max(window_start) from newest) - interval 1 day
),
ends as (
    select max(window_start + to_seconds(window_s)) as last_window from near
)
select * from ends;
