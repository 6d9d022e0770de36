-- purpose: what the meters of each furnace read on earlier production days, by every close of each
-- grain:   revision of a production day x furnace
-- reads:   balance_days
-- params:  first_day, day (not included)
select day, furnace, revision, reading
from balance_days
where day >= $first_day and day < $day
order by day, furnace, revision;
