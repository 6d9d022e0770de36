-- purpose: the feeds that the ledger has a table for
-- grain:   feed
-- reads:   information_schema.columns
select table_name as feed
from information_schema.columns
where column_name = 'replaced_by'
order by table_name;
