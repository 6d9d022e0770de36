-- purpose: by how much the newest window of a file ended after the file was received, where it did
-- grain:   station
-- reads:   station_counts, batches
-- params:  line, from_time, to_time (to_time not included)
-- units:   s
with newest as (
    select station, batch, max(window_start + to_seconds(window_s)) as ended
    from station_counts
    where line = $line and window_start >= $from_time and window_start < $to_time
    group by station, batch
),
led as (
    select n.station, n.batch, b.file, epoch(n.ended - b.received_at) as lead_s
    from newest n
    join batches b using (batch)
    where n.ended > b.received_at
),
worst as (
    select station, max(lead_s) as lead_s, arg_max(file, lead_s) as file, count(*)::bigint as files
    from led
    group by station
)
select * from worst order by station;
