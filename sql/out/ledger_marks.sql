-- purpose: how many decisions, acknowledgements and closes the ledger holds, and its last file: what changes when a page must be made anew
-- grain:   one row
-- reads:   batches, acknowledgements, hold_events, closes
select
    (select coalesce(max(batch), 0) from batches) as last_batch,
    (select count(*) from acknowledgements) as acknowledgements,
    (select count(*) from hold_events) as decisions,
    (select count(*) from closes) as closes;
