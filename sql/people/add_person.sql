-- purpose: let a person sign in, or give a known one another password or other roles. The last admin stays one: else nothing is changed
-- grain:   person
-- params:  name, roles, password_hash, at
insert into people values ($name, $roles, $password_hash, $at, null)
on conflict (name) do update set roles = excluded.roles, password_hash = excluded.password_hash, ended_at = null
where
    ' ' || excluded.roles || ' ' like '% admin %'
    or people.ended_at is not null
    or ' ' || people.roles || ' ' not like '% admin %'
    or exists (
        select 1 from people as others
        where others.name <> $name and others.ended_at is null and ' ' || others.roles || ' ' like '% admin %'
    );
