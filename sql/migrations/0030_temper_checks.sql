-- purpose: feed temper_checks, every version of every row
-- grain:   one container in polarised light, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table temper_checks (
    sampled_at timestamp not null, line varchar not null, mould varchar, lane varchar, temper double not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
