-- purpose: the pallets that a line's ware was put on at any time of a window, also those filled up from several lines, and with which delivery
--          they left; one of which only a part was told has no state
-- grain:   pallet
-- reads:   current_pallets, current_pallet_parts, current_dispatches
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
with packed as (
    select pallet, packed_from, packed_to from current_pallets where line = $line
    union all
    select pallet, packed_from, packed_to from current_pallet_parts where line = $line
),
touched as (
    select pallet, min(packed_from) as packed_from, max(packed_to) as packed_to
    from packed
    where packed_from < $to_time and packed_to >= $from_time
    group by pallet
),
named as (
    select t.pallet, p.item, t.packed_from, t.packed_to, p.units, p.state, d.delivery
    from touched t
    left join current_pallets p using (pallet)
    left join current_dispatches d using (pallet)
)
select * from named order by packed_from, pallet;
