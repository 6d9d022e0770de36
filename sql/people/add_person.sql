-- purpose: let a person sign in, or give a known one another password or other roles
-- grain:   person
-- params:  name, roles, password_hash, at
insert into people values ($name, $roles, $password_hash, $at, null)
on conflict (name) do update set roles = excluded.roles, password_hash = excluded.password_hash, ended_at = null;
