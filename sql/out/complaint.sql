-- purpose: one complaint as it now stands
-- grain:   complaint
-- reads:   current_complaints
-- params:  complaint
select complaint, received_on, item, defect, units, mould, pallet, made_from, made_to, note, batch, file_line
from current_complaints
where complaint = $complaint;
