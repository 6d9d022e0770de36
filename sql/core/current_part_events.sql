-- purpose: feed part_events as it now stands
-- grain:   one event of one part
-- reads:   part_events
create or replace view current_part_events as
select happened_at, part, "set", number, event, gobs, cost, note, "by", batch, file_line
from part_events
where replaced_at is null;
