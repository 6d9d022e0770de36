-- purpose: who may sign in; roles joined by blanks; ended: taken out, never removed
-- grain:   person
create table if not exists people (
    name varchar primary key, roles varchar not null, password_hash varchar not null, made_at varchar not null, ended_at varchar
);
