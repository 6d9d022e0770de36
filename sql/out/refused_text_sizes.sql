-- purpose: how much text the rows of files are that are still refused
-- grain:   one batch
-- reads:   refused_rows
-- params:  batches (list)
-- units:   characters
with wanted as (
    select unnest($batches::integer[]) as batch
)
select r.batch, sum(length(r.row_text))::bigint as characters
from refused_rows r
semi join wanted using (batch)
where r.retried_at is null
group by r.batch
order by r.batch;
