-- purpose: give a person other roles
-- grain:   person
-- params:  name, roles
update people set roles = $roles where name = $name;
