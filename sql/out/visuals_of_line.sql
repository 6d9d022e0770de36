-- purpose: a person's samples of a line
-- grain:   one defect in one sample; mould is empty where the sample is of all
-- reads:   current_visual_checks
-- params:  line, from_time, to_time (to_time not included)
-- units:   containers
select sampled_at, item, mould, defect, sample_units, found, "by", batch, file_line
from current_visual_checks
where line = $line and sampled_at >= $from_time and sampled_at < $to_time
order by sampled_at, item, mould, defect;
