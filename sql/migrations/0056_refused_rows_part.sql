-- purpose: column part of refused_rows: which of the refused rows of its line a row is, from 0: a line of a wide table is many rows
-- grain:   one row of a received file; file_line 0 is the file itself
alter table refused_rows add column part integer default 0;
