-- purpose: keep the rows of a registered frame in lehr_hours
-- grain:   as lehr_hours
insert into lehr_hours by name
select * from new_rows;
