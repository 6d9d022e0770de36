-- purpose: feed mould_log as it now stands
-- grain:   one fitting of one part at one cavity
-- reads:   mould_log
create or replace view current_mould_log as
select fitted_at, line, section, gob, part, number, item, "set", batch, file_line
from mould_log
where replaced_at is null;
