-- purpose: feed counter_reads, every version of every row
-- grain:   one reading of one running total, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table counter_reads (
    read_at timestamp not null, line varchar not null, station varchar not null, counter varchar not null, mould varchar, defect varchar,
    total bigint not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
