-- purpose: feed pallet_parts as it now stands
-- grain:   what one line and item gave to one pallet
-- reads:   pallet_parts
create or replace view current_pallet_parts as
select pallet, line, item, packed_from, packed_to, units, batch, file_line
from pallet_parts
where replaced_at is null;
