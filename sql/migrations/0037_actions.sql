-- purpose: feed actions, every version of every row
-- grain:   one action at one place, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table actions (
    acted_at timestamp not null, line varchar not null, kind varchar not null, section bigint, gob varchar,
    station varchar, mould varchar, part varchar, defect varchar, value double, signal varchar, note varchar,
    "by" varchar not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
