-- purpose: feed visual_checks as it now stands
-- grain:   one defect in one person's sample, of one mould where it was told
-- reads:   visual_checks
create or replace view current_visual_checks as
select sampled_at, line, item, mould, defect, sample_units, found, "by", batch, file_line
from visual_checks
where replaced_at is null;
