-- purpose: the runs that were begun, and how each ended
-- grain:   run
create table if not exists runs (
    number integer primary key, flow varchar not null, why varchar not null, begun_at varchar not null, ended_at varchar,
    state varchar not null, told varchar not null
);
