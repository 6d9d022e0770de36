-- purpose: who has seen a signal, and what was said about it; nothing is ever removed
-- grain:   one acknowledgement
create table acknowledgements (
    signal varchar not null, acknowledged_at timestamp not null, by_whom varchar not null, note varchar not null
);
