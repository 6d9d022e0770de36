-- purpose: production days whose minutes of station_counts and reject_counts were rolled into hours; what was there before and is there now
-- grain:   one production day
-- units:   times in UTC; rows
create table rolled_days (
    day date primary key, from_time timestamp not null, to_time timestamp not null, rolled_at timestamp not null,
    last_batch integer not null, rows_before bigint not null, rows_after bigint not null
);
