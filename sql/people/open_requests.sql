-- purpose: what was asked of the scheduler, the oldest first
-- grain:   request
select number, flow, about from requests order by number;
