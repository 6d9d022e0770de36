-- purpose: the newest notices
-- grain:   notice x address
-- params:  most
select notice, address, told_at, title, state from notices order by told_at desc, notice limit $most;
