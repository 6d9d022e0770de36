-- purpose: what stations without counts by window send instead (running totals, rejects by defect), and until when, looking back no further than a moment
-- grain:   station x feed
-- reads:   current_reject_counts, current_counter_reads
-- params:  from_time, stations (list)
with heard as (
    select line, station, 'reject_counts' as feed, max(window_start + to_seconds(window_s)) as heard
    from current_reject_counts
    where window_start >= $from_time and list_contains($stations::varchar[], station)
    group by line, station
    union all
    select line, station, 'counter_reads' as feed, max(read_at) as heard
    from current_counter_reads
    where read_at >= $from_time and list_contains($stations::varchar[], station)
    group by line, station
)
select * from heard order by line, station, feed;
