-- purpose: what a furnace was charged with; windows that the limits cut through count in part
-- grain:   window
-- reads:   current_melt_log
-- params:  furnace, from_time, to_time (to_time not included)
-- units:   kg, percent, mm; part is the share of the window inside the limits
select
    window_start, window_s, batch_kg, moisture_pct, loss_pct, cullet_kg, level_change_mm,
    (epoch(least(window_start + to_seconds(window_s), $to_time::timestamp))
        - epoch(greatest(window_start, $from_time::timestamp))) / window_s as part
from current_melt_log
where furnace = $furnace and window_start < $to_time and window_start + to_seconds(window_s) > $from_time
order by window_start;
