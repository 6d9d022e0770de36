-- purpose: column customer of complaints: who complains; null where it was not told
-- grain:   one complaint, a row a version
alter table complaints add column customer varchar;
