-- purpose: the newest acts
-- grain:   act
-- params:  most
select number, told_at, who, what, about, outcome from audit order by number desc limit $most;
