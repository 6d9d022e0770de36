-- purpose: feed capacity_checks as it now stands
-- grain:   one container weighed empty and filled
-- reads:   capacity_checks
create or replace view current_capacity_checks as
select sampled_at, line, mould, sample, empty_g, filled_g, water_c, fill, "by", batch, file_line
from capacity_checks
where replaced_at is null;
