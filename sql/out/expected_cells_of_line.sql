-- purpose: calls of each defect that the moulds of a line should bring by their own past, in the blocks of hours that touch a window
-- grain:   block's first hour x mould (empty: all moulds of which little is expected, pooled) x defect
-- reads:   expected_cells
-- params:  line, from_time, to_time (to_time not included), hours (the length of a block)
-- units:   calls; variance: beyond Poisson, in calls squared; doubt: standard deviation of expected itself
select hour, mould, defect, expected, variance, doubt
from expected_cells
where line = $line and hour > $from_time::timestamp - to_hours($hours) and hour < $to_time
order by hour, mould, defect;
