-- purpose: column cause of complaints: what caused it, as far as that was found
-- grain:   one complaint, a row a version
alter table complaints add column cause varchar;
