-- purpose: feed verdicts as it now stands
-- grain:   one finding in what a person looked at
-- reads:   verdicts
create or replace view current_verdicts as
select looked_at, line, stream, station, called, mould, found, units, "by", batch, file_line
from verdicts
where replaced_at is null;
