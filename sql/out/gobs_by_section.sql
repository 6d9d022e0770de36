-- purpose: gobs cut and rejected hot by section of a line, with the running minutes that its windows show
-- grain:   section
-- reads:   current_forming_counts
-- params:  line, from_time, to_time (to_time not included), by the forming clock
-- units:   gobs, minutes
select
    section, sum(gobs_cut)::bigint as gobs_cut, sum(hot_rejected)::bigint as hot_rejected,
    sum(window_s) filter (where gobs_cut > 0) / 60.0 / count(distinct coalesce(gob, '')) as running_minutes
from current_forming_counts
where line = $line and window_start >= $from_time and window_start < $to_time
group by section
order by section;
