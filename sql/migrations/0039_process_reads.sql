-- purpose: feed process_reads, every version of every row
-- grain:   one reading of one quantity at one place, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table process_reads (
    read_at timestamp not null, "at" varchar not null, quantity varchar not null, value double not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
