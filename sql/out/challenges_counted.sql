-- purpose: challenges of all stations of the works, those with one outcome counted together
-- grain:   station x defect x passes x caught
-- reads:   current_challenge_checks
-- params:  from_time, to_time (to_time not included)
-- units:   passes, challenges
select line, station, defect, passes, caught, count(*) as challenges, max(checked_at) as last
from current_challenge_checks
where checked_at >= $from_time and checked_at < $to_time
group by line, station, defect, passes, caught
order by line, station, defect, passes, caught;
