-- purpose: note how a run ended
-- grain:   run
-- params:  number, at, state, told
update runs set ended_at = $at, state = $state, told = $told where number = $number;
