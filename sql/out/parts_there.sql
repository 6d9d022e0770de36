-- purpose: the moulds, blanks and neck rings that sat at one cavity at any time of a window, by the forming clock
-- grain:   one fitting of one part
-- reads:   current_mould_log
-- params:  line, section, gob, from_time, to_time
with fittings as (
    select
        part, number, item, fitted_at, lead(fitted_at) over (partition by part order by fitted_at) as ended_at, batch, file_line
    from current_mould_log
    where line = $line and section = $section and gob = $gob
),
there as (
    select * from fittings
    where number is not null and fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
)
select * from there order by part, fitted_at;
