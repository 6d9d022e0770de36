-- purpose: feed station_counts as it now stands
-- grain:   window x station x mould number
-- reads:   station_counts
create or replace view current_station_counts as
select window_start, line, station, mould, window_s, inspected, rejected, refed, batch, file_line
from station_counts
where replaced_at is null;
