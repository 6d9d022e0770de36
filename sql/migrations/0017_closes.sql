-- purpose: every close of a production day and what it answered
-- grain:   one revision of one production day
create table closes (
    day date not null, revision integer not null, closed_at timestamp not null, last_batch integer not null,
    answers varchar not null, digest varchar not null, primary key (day, revision)
);
