-- purpose: the lehr time of each line by hour of inspection, as last estimated from the feeds
-- grain:   line x hour
create table lehr_hours (
    line varchar not null, hour timestamp not null, minutes double not null, low double not null, high double not null,
    spread double not null, measured boolean not null, clear boolean not null
);
