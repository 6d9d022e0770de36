-- purpose: column ordered_units of job_log: containers that the job is to make; null where it was not told
-- grain:   one start of a job, a row a version
-- units:   containers
alter table job_log add column ordered_units bigint;
