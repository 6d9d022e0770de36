-- purpose: what a new revision of a close moved and why, as JSON; null for the first
-- grain:   one revision of one production day
alter table closes add column moved varchar;
