-- purpose: who is signed in now, by the hash of what their browser shows
-- grain:   session
-- units:   s since 1970 by the computer's clock
create table if not exists sessions (
    token_hash varchar primary key, name varchar not null, form_token varchar not null, begun double not null, seen double not null
);
