-- purpose: the pallets that stand in a state other than packed or released, as the warehouse last told it
-- grain:   pallet
-- reads:   current_pallets
-- params:
-- units:   containers
select pallet, line, item, packed_from, packed_to, units, state, batch, file_line
from current_pallets
where state in ('held', 'resort', 'scrapped')
order by state, packed_from, pallet;
