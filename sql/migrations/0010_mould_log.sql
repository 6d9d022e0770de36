-- purpose: feed mould_log, every version of every row
-- grain:   one fitting of one part at one cavity, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table mould_log (
    fitted_at timestamp not null, line varchar not null, section bigint not null, gob varchar not null,
    part varchar not null, number varchar, item varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
