-- purpose: feed breakages, every version of every row
-- grain:   one breakage at one place, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table breakages (
    broke_at timestamp not null, line varchar not null, place varchar not null, cleared_at timestamp, note varchar,
    "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
