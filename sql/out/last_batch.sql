-- purpose: the number of the newest batch
-- grain:   one row
-- reads:   batches
select max(batch) as last_batch
from batches;
