-- purpose: every id of works.toml that facts in force speak of, with how many of their rows do
-- grain:   one id of one kind
-- reads:   current_station_counts, current_reject_counts, current_counter_reads, current_challenge_checks, current_visual_checks,
--          current_weight_checks, current_capacity_checks, current_temper_checks, current_forming_counts, current_stoppages,
--          current_mould_log, current_job_log, current_pallets, current_complaints, current_melt_log, current_density_checks,
--          current_verdicts, current_actions, current_pallet_parts, current_test_checks, current_breakages, current_process_reads
with by_station as (
    select line, station, null as defect, count(*) as n from current_station_counts group by line, station
    union all
    select line, station, defect, count(*) as n from current_reject_counts group by line, station, defect
    union all
    select line, station, defect, count(*) as n from current_counter_reads group by line, station, defect
    union all
    select line, station, defect, count(*) as n from current_challenge_checks group by line, station, defect
    union all
    select line, station, called, count(*) as n from current_verdicts group by line, station, called
    union all
    select null, null, found, count(*) as n from current_verdicts group by found
    union all
    select line, station, defect, count(*) as n from current_actions group by line, station, defect
),
by_item as (
    select line, item, defect, count(*) as n from current_visual_checks group by line, item, defect
    union all
    select line, item, null, count(*) as n from current_pallets group by line, item
    union all
    select line, item, null, count(*) as n from current_pallet_parts group by line, item
    union all
    select line, item, null, count(*) as n from current_job_log group by line, item
    union all
    select line, item, null, count(*) as n from current_mould_log group by line, item
    union all
    select null, item, defect, count(*) as n from current_complaints group by item, defect
),
by_line as (
    select line, count(*) as n from current_forming_counts group by line
    union all
    select line, count(*) as n from current_stoppages group by line
    union all
    select line, count(*) as n from current_weight_checks group by line
    union all
    select line, count(*) as n from current_capacity_checks group by line
    union all
    select line, count(*) as n from current_temper_checks group by line
    union all
    select line, count(*) as n from current_test_checks group by line
    union all
    select line, count(*) as n from current_breakages group by line
),
by_furnace as (
    select furnace, count(*) as n from current_melt_log group by furnace
    union all
    select furnace, count(*) as n from current_density_checks group by furnace
),
ids as (
    select 'line' as kind, line as id, n from by_station
    union all
    select 'line', line, n from by_item
    union all
    select 'line', line, n from by_line
    union all
    select 'station', station, n from by_station
    union all
    select 'defect', defect, n from by_station
    union all
    select 'defect', defect, n from by_item
    union all
    select 'item', item, n from by_item
    union all
    select 'furnace', furnace, n from by_furnace
    union all
    select 'station', place, count(*) from current_breakages where place not in ('hot_end', 'lehr', 'packing') group by place
    union all
    select 'test', test, count(*) from current_test_checks group by test
    union all
    select 'quantity', quantity, count(*) from current_process_reads group by quantity
),
summed as (
    select kind, id, sum(n)::bigint as rows from ids where id is not null group by kind, id
)
select * from summed order by kind, id;
