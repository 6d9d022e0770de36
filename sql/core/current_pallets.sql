-- purpose: feed pallets as it now stands
-- grain:   one pallet and state
-- reads:   pallets
create or replace view current_pallets as
select pallet, line, item, packed_from, packed_to, units, state, batch, file_line
from pallets
where replaced_at is null;
