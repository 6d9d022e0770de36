-- purpose: files of which something is still refused
-- grain:   one batch
-- reads:   batches, refused_rows
with open_rows as (
    select batch, count(*) as open_rows, bool_or(file_line = 0) as whole
    from refused_rows
    where retried_at is null
    group by batch
),
named as (
    select b.batch, b.feed, b.file, b.archived_as, b.received_at, o.open_rows, o.whole
    from open_rows o
    join batches b using (batch)
)
select * from named order by batch;
