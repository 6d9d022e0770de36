-- purpose: challenges of a line's stations, with one defect where one is told
-- grain:   one challenge
-- reads:   current_challenge_checks
-- params:  line, from_time, to_time (to_time not included), defect (or null)
select checked_at, line, station, defect, passes, caught, "by", batch, file_line
from current_challenge_checks
where line = $line and checked_at >= $from_time and checked_at < $to_time
    and ($defect::varchar is null or defect = $defect)
order by checked_at, station, defect;
