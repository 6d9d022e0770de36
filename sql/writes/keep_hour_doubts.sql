-- purpose: keep the rows of a registered frame in hour_doubts
-- grain:   as hour_doubts
insert into hour_doubts by name
select * from new_rows;
