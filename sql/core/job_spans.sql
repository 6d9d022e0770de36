-- purpose: which job ran on which line from when to when, by the forming clock; ended_at is null while it runs
-- grain:   one start of a job
-- reads:   current_job_log
create or replace view job_spans as
with jobs as (
    select line, job, item, started_at, lead(started_at) over (partition by line order by started_at) as ended_at
    from current_job_log
)
select * from jobs;
