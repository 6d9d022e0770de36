-- purpose: column due of job_log: the day by which they are due; null where it was not told
-- grain:   one start of a job, a row a version
alter table job_log add column due date;
