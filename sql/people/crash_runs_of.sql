-- purpose: say of a flow's runs that nobody watched, and that stand as running while nothing of it runs, that they were cut off
-- grain:   run
-- params:  flow, why, or_why
update runs set state = 'cut off', told = 'the process ended before the run did; the next run took up what it left'
where state = 'running' and flow = $flow and (why = $why or why = $or_why);
