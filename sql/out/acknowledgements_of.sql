-- purpose: every acknowledgement of signals, oldest first
-- grain:   one acknowledgement
-- reads:   acknowledgements
select signal, acknowledged_at, by_whom, note
from acknowledgements
order by signal, acknowledged_at;
