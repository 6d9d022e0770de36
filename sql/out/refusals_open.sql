-- purpose: what is still refused, and why
-- grain:   one wrong value of a refused row
-- reads:   refused_rows, refusals, batches
-- params:  most (rows answered at most), from_batch (the first batch looked at)
with open_ones as (
    select
        r.batch, r.file_line, coalesce(r.part, 0) as part, w.column_name, w.value, w.reason, w.expected,
        coalesce(w.place, '') as place
    from refused_rows r
    join refusals w on w.batch = r.batch and w.file_line = r.file_line and coalesce(w.part, 0) = coalesce(r.part, 0)
    where r.retried_at is null and r.batch >= $from_batch
),
named as (
    select b.feed, b.file, o.*
    from open_ones o
    join batches b using (batch)
)
select * from named order by batch, file_line, part, column_name limit $most;
