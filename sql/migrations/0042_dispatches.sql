-- purpose: feed dispatches, every version of every row
-- grain:   the last dispatch of one pallet, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table dispatches (
    pallet varchar not null, dispatched_at timestamp not null, delivery varchar not null, customer varchar not null,
    vehicle varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
