-- purpose: feed melt_log, every version of every row
-- grain:   window x furnace, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table melt_log (
    window_start timestamp not null, furnace varchar not null, window_s bigint not null, batch_kg double not null,
    moisture_pct double not null, loss_pct double not null, cullet_kg double not null, level_change_mm double,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
