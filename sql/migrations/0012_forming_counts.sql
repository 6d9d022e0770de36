-- purpose: feed forming_counts, every version of every row
-- grain:   window x section (x gob position), a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table forming_counts (
    window_start timestamp not null, line varchar not null, section bigint not null, gob varchar,
    window_s bigint not null, gobs_cut bigint not null, hot_rejected bigint not null,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
