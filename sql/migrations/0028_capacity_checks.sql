-- purpose: feed capacity_checks, every version of every row
-- grain:   one container weighed empty and filled, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table capacity_checks (
    sampled_at timestamp not null, line varchar not null, mould varchar not null, sample bigint not null, empty_g double not null,
    filled_g double not null, water_c double not null, fill varchar not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
