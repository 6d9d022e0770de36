-- purpose: column speed_per_min of job_log: planned containers a minute of the whole machine; null where it was not told
-- grain:   one start of a job, a row a version
-- units:   containers/min
alter table job_log add column speed_per_min double;
