-- purpose: station_counts as they now stand, with the ware that is new: what had been sent through before is not counted again
-- grain:   window x station x mould number
-- reads:   station_counts
-- units:   containers; inspected: new ware; refed: sent through again, null where the station does not tell it; rejected: of both
create or replace view new_ware as
select
    window_start, line, station, mould, window_s, inspected - coalesce(refed, 0) as inspected, rejected, refed, batch, file_line
from station_counts
where replaced_at is null;
