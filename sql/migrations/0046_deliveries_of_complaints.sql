-- purpose: column delivery of complaints: the delivery complained of; null where it was not told
-- grain:   one complaint, a row a version
alter table complaints add column delivery varchar;
