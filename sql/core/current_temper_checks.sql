-- purpose: feed temper_checks as it now stands
-- grain:   one container in polarised light
-- reads:   temper_checks
create or replace view current_temper_checks as
select sampled_at, line, mould, lane, temper, "by", batch, file_line
from temper_checks
where replaced_at is null;
