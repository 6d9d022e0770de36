-- purpose: files that name another number of refused rows than the ledger holds
-- grain:   one file
-- level:   fail
-- reads:   batches, refused_rows
-- units:   rows
with held as (
    select batch, count(*) filter (where file_line > 0) as held_rows from refused_rows group by batch
),
beside as (
    select b.batch, b.feed, b.file, b.rows_refused, coalesce(h.held_rows, 0) as held_rows
    from batches b
    left join held h using (batch)
)
select * from beside where rows_refused <> held_rows order by batch;
