-- purpose: feed job_log, every version of every row
-- grain:   one start of a job, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table job_log (
    started_at timestamp not null, line varchar not null, job varchar not null, item varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
