-- purpose: weighings of a line with the item their mould was making
-- grain:   one weighing
-- reads:   current_weight_checks, mould_spans, job_spans
-- params:  line, from_time, to_time (to_time not included), lehr_s (looked back by for cold samples)
-- units:   g; taken_out_at: when the mould left the cavity it was in, null while it sits
with weighings as (
    select
        line, sampled_at, point, mould, sample, weight_g, batch, file_line,
        sampled_at - to_seconds(case when point = 'cold' then $lehr_s else 0 end) as formed_at
    from current_weight_checks
    where line = $line and sampled_at >= $from_time and sampled_at < $to_time
),
with_mould as (
    select w.*, m.section, m.gob, m.item as mould_item, m.ended_at as taken_out_at
    from weighings w
    asof left join mould_spans m on m.line = w.line and m.number = w.mould and m.fitted_at <= w.formed_at
),
with_job as (
    select w.*, coalesce(w.mould_item, j.item) as item
    from with_mould w
    asof left join job_spans j on j.line = w.line and j.started_at <= w.formed_at
)
select sampled_at, point, mould, sample, weight_g, section, gob, item, taken_out_at, batch, file_line
from with_job
order by sampled_at, mould, sample;
