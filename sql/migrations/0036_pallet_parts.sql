-- purpose: feed pallet_parts, every version of every row
-- grain:   what one line and item gave to one pallet, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table pallet_parts (
    pallet varchar not null, line varchar not null, item varchar not null, packed_from timestamp not null,
    packed_to timestamp not null, units bigint not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
