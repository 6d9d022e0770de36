-- purpose: readings of quantities at some places, in order of time
-- grain:   one reading of one quantity at one place
-- reads:   current_process_reads
-- params:  places (list), from_time, to_time (to_time not included)
select "at", quantity, read_at, value, batch, file_line
from current_process_reads
where "at" in (select unnest($places::varchar[])) and read_at >= $from_time and read_at < $to_time
order by "at", quantity, read_at;
