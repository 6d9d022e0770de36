-- purpose: the last close of every production day
-- grain:   production day
-- reads:   closes
select day, max(revision) as revision, max(last_batch) as last_batch
from closes
group by day
order by day;
