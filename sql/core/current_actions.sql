-- purpose: feed actions as it now stands
-- grain:   one action at one place
-- reads:   actions
create or replace view current_actions as
select acted_at, line, kind, section, gob, station, mould, part, defect, value, signal, note, "by", batch, file_line
from actions
where replaced_at is null;
