-- purpose: the files whose rows stand behind a line's answer for a window
-- grain:   one file
-- reads:   current_station_counts, current_reject_counts, batches
-- params:  line, from_time, to_time (to_time not included)
with used as (
    select batch, count(*) as rows_used from current_station_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by batch
    union all
    select batch, count(*) as rows_used from current_reject_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by batch
),
named as (
    select b.batch, b.feed, b.file, b.archived_as, b.sha256, b.received_at, b.rows_read, b.rows_refused, u.rows_used
    from used u
    join batches b using (batch)
)
select * from named order by feed, batch;
