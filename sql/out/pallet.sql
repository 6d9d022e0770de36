-- purpose: one pallet as it now stands
-- grain:   pallet
-- reads:   current_pallets
-- params:  pallet
select pallet, line, item, packed_from, packed_to, units, state, batch, file_line
from current_pallets
where pallet = $pallet;
