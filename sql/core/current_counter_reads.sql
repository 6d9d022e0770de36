-- purpose: feed counter_reads as it now stands
-- grain:   one reading of one running total
-- reads:   counter_reads
create or replace view current_counter_reads as
select read_at, line, station, counter, mould, defect, total, batch, file_line
from counter_reads
where replaced_at is null;
