-- purpose: the last run of each flow that ended in one of two states
-- grain:   flow
-- params:  state, or_state
select flow, max(begun_at) as begun_at, max(ended_at) as ended_at from runs where state = $state or state = $or_state group by flow order by flow;
