-- purpose: feed pallet_links as it now stands
-- grain:   one moving of containers from one pallet onto another
-- reads:   pallet_links
create or replace view current_pallet_links as
select linked_at, from_pallet, to_pallet, units, "by", batch, file_line
from pallet_links
where replaced_at is null;
