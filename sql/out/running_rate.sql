-- purpose: how fast a section of a line runs: its mean gobs a minute over the windows in which it ran, which are those above three quarters of the median
-- grain:   part
-- reads:   current_forming_counts
-- params:  line, edges (starts of the parts and the end of the last, by the forming clock)
-- units:   gobs a minute and section
with windows as (
    select
        window_start, section, sum(gobs_cut) as gobs_cut, max(window_s) as window_s,
        len(list_filter($edges::timestamp[], lambda e: e <= window_start)) as part
    from current_forming_counts
    where line = $line and window_start >= list_min($edges::timestamp[]) and window_start < list_max($edges::timestamp[])
    group by window_start, section
),
with_middle as (
    select part, gobs_cut, window_s, median(gobs_cut / window_s) filter (where gobs_cut > 0) over (partition by part) as middle
    from windows
),
running as (
    select part, sum(gobs_cut) * 60.0 / sum(window_s) as per_minute
    from with_middle
    where gobs_cut / window_s > 0.75 * middle
    group by part
)
select * from running order by part;
