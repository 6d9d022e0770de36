-- purpose: how many rows and files still wait in quarantine
-- grain:   one row
-- reads:   refused_rows
select
    count(*) filter (where file_line > 0) as rows_waiting,
    count(*) filter (where file_line = 0) as files_waiting
from refused_rows
where retried_at is null;
