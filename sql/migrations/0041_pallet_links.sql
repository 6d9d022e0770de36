-- purpose: feed pallet_links, every version of every row
-- grain:   one moving of containers from one pallet onto another, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table pallet_links (
    linked_at timestamp not null, from_pallet varchar not null, to_pallet varchar not null, units bigint not null,
    "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
