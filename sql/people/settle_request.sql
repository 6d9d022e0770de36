-- purpose: a request that was seen to
-- grain:   request
-- params:  up_to
delete from requests where number <= $up_to;
