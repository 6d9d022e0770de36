-- purpose: column state of complaints: open, answered or closed; null where it was not told
-- grain:   one complaint, a row a version
alter table complaints add column state varchar;
