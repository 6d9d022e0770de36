-- purpose: feed stoppages as it now stands
-- grain:   one stop of a section or machine
-- reads:   stoppages
create or replace view current_stoppages as
select stopped_at, line, section, restarted_at, cause, batch, file_line
from stoppages
where replaced_at is null;
