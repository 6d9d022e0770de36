-- purpose: the refused rows of one file with all their reasons
-- grain:   one refused row
-- reads:   refused_rows, refusals
-- params:  batch
with whys as (
    select
        file_line,
        list(column_name order by column_name) as columns,
        list(reason order by column_name) as reasons,
        list(coalesce(value, '') order by column_name) as values,
        list(coalesce(expected, '') order by column_name) as expecteds
    from refusals
    where batch = $batch
    group by file_line
),
rows_with_whys as (
    select r.file_line, r.row_text, w.columns, w.reasons, w.values, w.expecteds
    from refused_rows r
    join whys w using (file_line)
    where r.batch = $batch and r.retried_at is null
)
select * from rows_with_whys order by file_line;
