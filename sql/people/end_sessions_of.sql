-- purpose: sign a person out everywhere
-- grain:   session
-- params:  name
delete from sessions where name = $name;
