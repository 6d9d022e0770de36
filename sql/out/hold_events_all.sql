-- purpose: every decision about holds, the oldest first
-- grain:   one pallet in one decision
-- reads:   hold_events
select event, hold, pallet, action, told_at, by_whom, why, evidence
from hold_events
order by event, pallet;
