-- purpose: feed challenge_checks, every version of every row
-- grain:   one challenge of a station with one reference sample, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table challenge_checks (
    checked_at timestamp not null, line varchar not null, station varchar not null, defect varchar not null,
    passes bigint not null, caught bigint not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
