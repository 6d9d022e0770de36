-- purpose: every signal as it stood at the end of each hour in which it was open or was closed
-- grain:   line x hour x signal
create table signal_hours (
    line varchar not null, hour timestamp not null, signal varchar not null, told varchar not null
);
