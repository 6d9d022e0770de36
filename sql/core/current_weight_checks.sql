-- purpose: feed weight_checks as it now stands
-- grain:   one weighing
-- reads:   weight_checks
create or replace view current_weight_checks as
select sampled_at, line, point, mould, sample, weight_g, "by", batch, file_line
from weight_checks
where replaced_at is null;
