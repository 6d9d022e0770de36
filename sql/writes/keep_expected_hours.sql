-- purpose: keep the rows of a registered frame in expected_hours
-- grain:   as expected_hours
insert into expected_hours by name
select * from new_rows;
