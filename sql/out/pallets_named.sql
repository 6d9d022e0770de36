-- purpose: some pallets as they now stand
-- grain:   pallet
-- reads:   current_pallets
-- params:  pallets (list)
select pallet, line, item, packed_from, packed_to, units, state, batch, file_line
from current_pallets
where pallet in (select unnest($pallets::varchar[]))
order by pallet;
