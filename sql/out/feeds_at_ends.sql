-- purpose: at how many of some ends of production days each feed had come up to the end, by files of those days (a file of weeks says nothing of one)
-- grain:   feed
-- reads:   batches
-- params:  ends (list), tolerance_s
-- units:   s
with ends as (
    select unnest($ends::timestamp[]) as day_end
),
came as (
    select b.feed, e.day_end
    from batches b
    join ends e on b.data_from < e.day_end and b.data_from >= e.day_end - interval 2 day and b.data_to >= e.day_end - to_seconds($tolerance_s)
    where b.rows_kept > 0
),
counted as (
    select feed, count(distinct day_end) as days from came group by feed
)
select * from counted order by feed;
