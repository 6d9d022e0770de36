-- purpose: say of runs that stand as running, and that nothing runs, that they were cut off
-- grain:   run
update runs set state = 'cut off', told = 'the process ended before the run did; the next run took up what it left' where state = 'running';
