-- purpose: keep the rows of a registered frame in expected_cells
-- grain:   as expected_cells
insert into expected_cells by name
select * from new_rows;
