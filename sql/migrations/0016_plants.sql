-- purpose: every works.toml that an intake or a close has worked with
-- grain:   one content of works.toml
create table plants (sha256 varchar primary key, content varchar not null, first_used_at timestamp not null);
