-- purpose: column set of mould_log: the set that the part belongs to; null where it was not told
-- grain:   one fitting of one part at one cavity, a row a version
alter table mould_log add column "set" varchar;
