-- purpose: every attempt to write by way of the pages, and every sign-in; added to, never changed
-- grain:   one act
create table if not exists audit (
    number integer primary key, told_at varchar not null, who varchar not null, what varchar not null, about varchar not null, outcome varchar not null
);
