-- purpose: every state the warehouse told of a pallet, the newest last; nothing is ever removed
-- grain:   one version of one pallet
-- reads:   pallets, batches
-- params:  pallet
with versions as (
    select p.state, p.units, p.packed_from, p.packed_to, b.received_at, b.file, p.batch, p.file_line
    from pallets p
    join batches b using (batch)
    where p.pallet = $pallet
)
select * from versions order by batch, file_line;
