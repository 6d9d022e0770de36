-- purpose: feed job_log as it now stands
-- grain:   one start of a job
-- reads:   job_log
create or replace view current_job_log as
select started_at, line, job, item, ordered_units, due, speed_per_min, batch, file_line
from job_log
where replaced_at is null;
