-- purpose: what the meters of each furnace read on earlier production days, and the yield told of them, by the last close of each
-- grain:   production day x furnace
-- reads:   balance_days
-- params:  first_day, day (not included)
with numbered as (
    select day, furnace, reading, told, row_number() over (partition by day, furnace order by revision desc) as place
    from balance_days
    where day >= $first_day and day < $day
),
newest as (
    select day, furnace, reading, told from numbered where place = 1
)
select * from newest order by day, furnace;
