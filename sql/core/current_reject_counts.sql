-- purpose: feed reject_counts as it now stands
-- grain:   window x station x mould number x defect
-- reads:   reject_counts
create or replace view current_reject_counts as
select window_start, line, station, mould, defect, window_s, rejected, batch, file_line
from reject_counts
where replaced_at is null;
