-- purpose: every notice ever decided on, so that each goes out once at the most
-- grain:   notice x address (the address by its hash)
create table if not exists notices (
    notice varchar not null, address varchar not null, told_at varchar not null, title varchar not null, state varchar not null, primary key (notice, address)
);
