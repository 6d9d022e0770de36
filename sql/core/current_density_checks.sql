-- purpose: feed density_checks as it now stands
-- grain:   one reading of a furnace's glass
-- reads:   density_checks
create or replace view current_density_checks as
select sampled_at, furnace, density_g_cm3, standard_g_cm3, standard_settles_c, sample_settles_c, "by", batch, file_line
from density_checks
where replaced_at is null;
