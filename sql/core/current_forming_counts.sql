-- purpose: feed forming_counts as it now stands
-- grain:   window x section (x gob position)
-- reads:   forming_counts
create or replace view current_forming_counts as
select window_start, line, section, gob, window_s, gobs_cut, hot_rejected, batch, file_line
from forming_counts
where replaced_at is null;
