-- purpose: the pallets whose identity ends with some characters, as people read the last digits of a label; the newest first
-- grain:   pallet
-- reads:   current_pallets
-- params:  ending, most
select pallet, line, item, packed_to, state
from current_pallets
where ends_with(pallet, $ending)
order by packed_to desc, pallet
limit $most;
