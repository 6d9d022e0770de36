-- purpose: every id of works.toml that facts in force speak of, with how often
-- grain:   one id of one kind
-- reads:   current_station_counts, current_reject_counts, current_pallets, current_melt_log, current_forming_counts,
--          current_density_checks, current_visual_checks
with stations as (
    select line, station, count(*) as n from current_station_counts group by line, station
),
lines as (
    select line, sum(n) as n from stations group by line
    union all
    select line, count(*) as n from current_forming_counts group by line
),
ids as (
    select 'line' as kind, line as id, sum(n)::bigint as rows from lines group by line
    union all
    select 'station', station, sum(n)::bigint from stations group by station
    union all
    select 'defect', defect, count(*) from current_reject_counts group by defect
    union all
    select 'item', item, count(*) from current_pallets group by item
    union all
    select 'item', item, count(*) from current_visual_checks group by item
    union all
    select 'furnace', furnace, count(*) from current_melt_log group by furnace
    union all
    select 'furnace', furnace, count(*) from current_density_checks group by furnace
)
select kind, id, sum(rows)::bigint as rows from ids group by kind, id order by kind, id;
