-- purpose: note one act
-- grain:   act
-- params:  at, who, what, about, outcome
insert into audit (told_at, who, what, about, outcome) values ($at, $who, $what, $about, $outcome);
