-- purpose: feed reject_counts, every version of every row
-- grain:   window x station x mould number x defect, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table reject_counts (
    window_start timestamp not null, line varchar not null, station varchar not null, mould varchar,
    defect varchar not null, window_s bigint not null, rejected bigint not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
