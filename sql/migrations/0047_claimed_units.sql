-- purpose: column claimed_units of complaints: containers for which the customer claims; null where it was not told
-- grain:   one complaint, a row a version
-- units:   containers
alter table complaints add column claimed_units bigint;
