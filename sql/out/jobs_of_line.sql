-- purpose: the jobs of a line at any time of a window, by the forming clock
-- grain:   one start of a job
-- reads:   job_spans
-- params:  line, from_time, to_time
select job, item, started_at, ended_at
from job_spans
where line = $line and started_at < $to_time and (ended_at is null or ended_at > $from_time)
order by started_at;
