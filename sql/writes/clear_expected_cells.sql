-- purpose: make room for the hours of a line that were worked out again
-- grain:   line x block of hours
-- params:  line, from_time, to_time (to_time not included)
delete from expected_cells
where line = $line and hour >= $from_time and hour < $to_time;
