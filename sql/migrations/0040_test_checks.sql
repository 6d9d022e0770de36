-- purpose: feed test_checks, every version of every row
-- grain:   one measured value of one container, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table test_checks (
    sampled_at timestamp not null, line varchar not null, test varchar not null, mould varchar, sample bigint not null,
    place varchar, value double not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
