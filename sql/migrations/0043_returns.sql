-- purpose: feed returns, every version of every row
-- grain:   one return of one pallet, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table returns (
    pallet varchar not null, returned_at timestamp not null, units bigint not null, delivery varchar, reason varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
