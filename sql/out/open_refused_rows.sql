-- purpose: the refused rows of files with all their reasons
-- grain:   one refused row
-- reads:   refused_rows, refusals
-- params:  batches (list)
with wanted as (
    select unnest($batches::integer[]) as batch
),
whys as (
    select
        r.batch, r.file_line, coalesce(r.part, 0) as part,
        list(r.column_name order by r.column_name) as columns,
        list(r.reason order by r.column_name) as reasons,
        list(coalesce(r.value, '') order by r.column_name) as values,
        list(coalesce(r.expected, '') order by r.column_name) as expecteds,
        list(coalesce(r.place, '') order by r.column_name) as places
    from refusals r
    semi join wanted using (batch)
    group by r.batch, r.file_line, coalesce(r.part, 0)
),
rows_with_whys as (
    select
        r.batch, r.file_line, w.part, r.row_text, w.columns, w.reasons, w.values, w.expecteds, w.places
    from refused_rows r
    join whys w on w.batch = r.batch and w.file_line = r.file_line and w.part = coalesce(r.part, 0)
    where r.retried_at is null
)
select * from rows_with_whys order by batch, file_line, part;
