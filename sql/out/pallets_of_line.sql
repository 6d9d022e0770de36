-- purpose: the pallets a line packed at any time of a window
-- grain:   pallet
-- reads:   current_pallets
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
select pallet, line, item, packed_from, packed_to, units, state, batch, file_line
from current_pallets
where line = $line and packed_from < $to_time and packed_to >= $from_time
order by packed_from, pallet;
