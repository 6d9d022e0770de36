-- purpose: what a day's closes expected to be lost unseen: settled by the first, so that a rebuild finds the same answers
-- grain:   furnace
-- reads:   balance_days
-- params:  day
with numbered as (
    select furnace, usual, row_number() over (partition by furnace order by revision) as place
    from balance_days
    where day = $day
),
first_close as (
    select furnace, usual from numbered where place = 1
)
select * from first_close order by furnace;
