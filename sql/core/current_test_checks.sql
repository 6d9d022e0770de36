-- purpose: feed test_checks as it now stands
-- grain:   one measured value of one container
-- reads:   test_checks
create or replace view current_test_checks as
select sampled_at, line, test, mould, sample, place, value, "by", batch, file_line
from test_checks
where replaced_at is null;
