-- purpose: column mould of visual_checks: the mould of which all containers of the sample are; null where it was not told
-- grain:   one defect in one person's sample, of one mould where it was told, a row a version
alter table visual_checks add column mould varchar;
