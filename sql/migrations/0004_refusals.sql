-- purpose: why each row was set aside
-- grain:   one wrong value of a refused row
create table refusals (
    batch integer not null, file_line integer not null, column_name varchar not null, value varchar,
    reason varchar not null, expected varchar
);
