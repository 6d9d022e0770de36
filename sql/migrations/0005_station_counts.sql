-- purpose: feed station_counts, every version of every row
-- grain:   window x station x mould number, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table station_counts (
    window_start timestamp not null, line varchar not null, station varchar not null, mould varchar,
    window_s bigint not null, inspected bigint not null, rejected bigint not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
