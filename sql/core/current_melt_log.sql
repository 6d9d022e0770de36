-- purpose: feed melt_log as it now stands
-- grain:   window x furnace
-- reads:   melt_log
create or replace view current_melt_log as
select
    window_start, furnace, window_s, batch_kg, moisture_pct, loss_pct, cullet_kg, level_change_mm, energy_kwh, batch,
    file_line
from melt_log
where replaced_at is null;
