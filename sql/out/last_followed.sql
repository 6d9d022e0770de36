-- purpose: up to which hour each line's signals were followed
-- grain:   line
-- reads:   lehr_hours
select line, max(hour) as hour
from lehr_hours
group by line
order by line;
