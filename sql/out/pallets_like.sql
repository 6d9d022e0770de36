-- purpose: the pallets whose identity is nearest to one that is not known: up to two characters off, the nearest first
-- grain:   pallet
-- reads:   current_pallets
-- params:  pallet
-- units:   apart: characters to change, add, leave out or exchange
with near as (
    select pallet, line, item, packed_from, packed_to, state, damerau_levenshtein(pallet, $pallet) as apart
    from current_pallets
    where length(pallet) between length($pallet) - 2 and length($pallet) + 2
),
nearest as (
    select * from near where apart <= 2
)
select * from nearest order by apart, pallet limit 5;
