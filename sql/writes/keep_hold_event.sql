-- purpose: keep a decision about a hold, a row a pallet
-- grain:   one pallet in one decision
-- params:  hold, pallet, action, at, by_whom, why, evidence, event
insert into hold_events
select $event, $hold, $pallet, $action, $at, $by_whom, $why, $evidence;
