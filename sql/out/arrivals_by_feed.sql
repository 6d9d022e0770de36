-- purpose: what came of each feed, and how many rows and whole files of it still wait to be corrected
-- grain:   feed
-- reads:   batches, arrivals, refused_rows
with open_rows as (
    select
        batch, count(*) filter (where file_line > 0) as open_rows, count(*) filter (where file_line = 0) as open_files
    from refused_rows
    where retried_at is null
    group by batch
),
again as (
    select batch, count(*) as came_again from arrivals where repeated group by batch
),
summed as (
    select
        b.feed, count(*) as files, coalesce(sum(a.came_again), 0)::bigint as came_again,
        sum(b.rows_read)::bigint as rows_read, sum(b.rows_kept)::bigint as rows_kept,
        sum(b.rows_refused)::bigint as rows_refused, sum(b.rows_replacing)::bigint as rows_replacing,
        coalesce(sum(o.open_rows), 0)::bigint as rows_still_refused,
        coalesce(sum(o.open_files), 0)::bigint as files_still_refused,
        max(b.received_at) as last_received, max(b.data_to) as data_to
    from batches b
    left join open_rows o using (batch)
    left join again a using (batch)
    group by b.feed
)
select * from summed order by feed;
