-- purpose: feed process_reads as it now stands
-- grain:   one reading of one quantity at one place
-- reads:   process_reads
create or replace view current_process_reads as
select read_at, "at", quantity, value, "by", batch, file_line
from process_reads
where replaced_at is null;
