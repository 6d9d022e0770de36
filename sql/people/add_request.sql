-- purpose: ask the scheduler for something
-- grain:   request
-- params:  flow, about
insert into requests (flow, about) values ($flow, $about);
