-- purpose: the newest runs
-- grain:   run
-- params:  most
select number, flow, why, begun_at, ended_at, state, told from runs order by number desc limit $most;
