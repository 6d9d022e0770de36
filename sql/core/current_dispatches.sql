-- purpose: feed dispatches as it now stands
-- grain:   the last dispatch of one pallet
-- reads:   dispatches
create or replace view current_dispatches as
select pallet, dispatched_at, delivery, customer, vehicle, batch, file_line
from dispatches
where replaced_at is null;
