-- purpose: feed complaints, every version of every row
-- grain:   one complaint, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table complaints (
    complaint varchar not null, received_on date not null, item varchar not null, defect varchar,
    units bigint not null, mould varchar, pallet varchar, made_from timestamp, made_to timestamp, note varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
