-- purpose: feed complaints as it now stands
-- grain:   one complaint
-- reads:   complaints
create or replace view current_complaints as
select
    complaint, received_on, item, defect, units, mould, pallet, made_from, made_to, note, customer, delivery,
    claimed_units, answer_due, state, cause, batch, file_line
from complaints
where replaced_at is null;
