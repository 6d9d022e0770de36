-- purpose: make room for the hours of a line that were worked out again
-- grain:   line x hour
-- params:  line, from_time, to_time (to_time not included)
delete from signal_hours
where line = $line and hour >= $from_time and hour < $to_time;
