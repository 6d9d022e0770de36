-- purpose: column place of refusals: the cell of a workbook that a wrong value stood in, such as Shift!F17; null for other files
-- grain:   one wrong value of a refused row
alter table refusals add column place varchar;
