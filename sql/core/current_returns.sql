-- purpose: feed returns as it now stands
-- grain:   one return of one pallet
-- reads:   returns
create or replace view current_returns as
select pallet, returned_at, units, delivery, reason, batch, file_line
from returns
where replaced_at is null;
