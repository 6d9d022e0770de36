-- purpose: take a person out; the name stays. Not the last admin: then nothing is changed
-- grain:   person
-- params:  name, at
update people set ended_at = $at
where name = $name and (
    ended_at is not null
    or ' ' || roles || ' ' not like '% admin %'
    or exists (
        select 1 from people as others
        where others.name <> $name and others.ended_at is null and ' ' || others.roles || ' ' like '% admin %'
    )
);
