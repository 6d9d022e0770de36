-- purpose: density checks of a furnace, as they were sent
-- grain:   one reading
-- reads:   current_density_checks
-- params:  furnace, from_time, to_time (to_time not included)
-- units:   g/cm3, degrees C
select sampled_at, density_g_cm3, standard_g_cm3, standard_settles_c, sample_settles_c, "by", batch, file_line
from current_density_checks
where furnace = $furnace and sampled_at >= $from_time and sampled_at < $to_time
order by sampled_at;
