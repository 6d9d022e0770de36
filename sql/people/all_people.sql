-- purpose: everybody who may or might sign in
-- grain:   person
select name, roles, password_hash, made_at, ended_at from people order by ended_at is not null, name;
