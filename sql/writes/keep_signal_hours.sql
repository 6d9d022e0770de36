-- purpose: keep the rows of a registered frame in signal_hours
-- grain:   as signal_hours
insert into signal_hours by name
select * from new_rows;
