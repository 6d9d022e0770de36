-- purpose: one signal as it stood at the end of each hour
-- grain:   hour
-- reads:   signal_hours
-- params:  signal
select line, hour, signal, told
from signal_hours
where signal = $signal
order by hour;
