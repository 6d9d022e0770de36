-- purpose: every row that was set aside, whole, as it came
-- grain:   one row of a received file; file_line 0 is the file itself
create table refused_rows (
    batch integer not null, file_line integer not null, row_text varchar not null,
    retried_in integer, retried_at timestamp
);
