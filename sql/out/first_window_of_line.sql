-- purpose: from when on cold-end counts of a line were taken in (the order lets all but the oldest rows be passed over)
-- grain:   one row, none without counts
-- reads:   current_station_counts
-- params:  line
select window_start as first_window from current_station_counts where line = $line order by window_start limit 1;
