-- purpose: feed part_events, every version of every row
-- grain:   one event of one part, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table part_events (
    happened_at timestamp not null, part varchar not null, "set" varchar, number varchar not null,
    event varchar not null, gobs bigint, cost double, note varchar, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
