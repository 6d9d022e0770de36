-- purpose: the files that repaired rows of a batch came in
-- grain:   one batch
-- reads:   batches
-- params:  batch
select batch, archived_as
from batches
where retry_of = $batch
order by batch desc;
