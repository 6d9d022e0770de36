-- purpose: every arrival of a file, also of one whose bytes were known already
-- grain:   one arrival
create table arrivals (
    batch integer not null, file varchar not null, arrived_at timestamp not null, repeated boolean not null
);
