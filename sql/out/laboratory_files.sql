-- purpose: the files whose rows stand behind a laboratory answer for a line, its furnace and a window
-- grain:   one file
-- reads:   current_weight_checks, current_capacity_checks, current_density_checks, current_temper_checks, current_visual_checks, batches
-- params:  line, furnace, from_time, to_time (to_time not included)
with rows_used as (
    select batch from current_weight_checks where line = $line and sampled_at >= $from_time and sampled_at < $to_time
    union all
    select batch from current_capacity_checks where line = $line and sampled_at >= $from_time and sampled_at < $to_time
    union all
    select batch from current_temper_checks where line = $line and sampled_at >= $from_time and sampled_at < $to_time
    union all
    select batch from current_visual_checks where line = $line and sampled_at >= $from_time and sampled_at < $to_time
    union all
    select batch from current_density_checks where furnace = $furnace and sampled_at >= $from_time and sampled_at < $to_time
),
used as (
    select batch, count(*) as rows_used from rows_used group by batch
),
named as (
    select b.batch, b.feed, b.file, b.archived_as, b.sha256, b.received_at, b.rows_read, b.rows_refused, u.rows_used
    from used u
    join batches b using (batch)
)
select * from named order by feed, batch;
