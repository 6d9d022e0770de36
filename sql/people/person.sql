-- purpose: one person
-- grain:   person
-- params:  name
select name, roles, password_hash, made_at, ended_at from people where name = $name;
