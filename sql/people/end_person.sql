-- purpose: take a person out; the name stays
-- grain:   person
-- params:  name, at
update people set ended_at = $at where name = $name;
