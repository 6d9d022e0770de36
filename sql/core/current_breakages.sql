-- purpose: feed breakages as it now stands
-- grain:   one breakage at one place
-- reads:   breakages
create or replace view current_breakages as
select broke_at, line, place, cleared_at, note, "by", batch, file_line
from breakages
where replaced_at is null;
