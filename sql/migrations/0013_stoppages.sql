-- purpose: feed stoppages, every version of every row
-- grain:   one stop of a section or machine, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table stoppages (
    stopped_at timestamp not null, line varchar not null, section bigint, restarted_at timestamp, cause varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
