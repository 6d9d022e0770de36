-- purpose: take the minutes of a production day of station_counts away after its hours were kept; the files they came in stay in the archive
-- grain:   one row
-- params:  from_time, to_time (to_time not included), batch
delete from station_counts where window_start >= $from_time and window_start < $to_time and batch <> $batch;
