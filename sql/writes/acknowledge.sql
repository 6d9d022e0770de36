-- purpose: keep that somebody has seen a signal
-- grain:   one acknowledgement
-- params:  signal, at, by_whom, note
insert into acknowledgements
select $signal, $at, $by_whom, $note;
