-- purpose: note that a run begins
-- grain:   run
-- params:  flow, why, at
insert into runs (flow, why, begun_at, state, told) values ($flow, $why, $at, 'running', '');
