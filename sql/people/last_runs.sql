-- purpose: the last run to end of each flow, of those that ended in one of two states
-- grain:   flow
-- params:  state, or_state
with ended as (
    select
        flow, begun_at, ended_at, row_number() over (partition by flow order by ended_at desc, number desc) as place
    from runs
    where state = $state or state = $or_state
)
select flow, begun_at, ended_at from ended where place = 1 order by flow;
