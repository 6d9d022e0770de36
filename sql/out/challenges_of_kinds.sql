-- purpose: challenges of some stations, each with one defect
-- grain:   one challenge
-- reads:   current_challenge_checks
-- params:  stations (list), defects (list): pairs by their place in the lists; from_time, to_time (to_time not included)
with kinds as (
    select unnest($stations::varchar[]) as station, unnest($defects::varchar[]) as defect
)
select c.checked_at, c.line, c.station, c.defect, c.passes, c.caught
from current_challenge_checks c
semi join kinds using (station, defect)
where c.checked_at >= $from_time and c.checked_at < $to_time
order by c.checked_at, c.station, c.defect;
