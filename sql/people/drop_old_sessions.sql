-- purpose: forget sessions that are over
-- grain:   session
-- params:  seen_after, begun_after
delete from sessions where seen <= $seen_after or begun <= $begun_after;
