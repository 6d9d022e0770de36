-- purpose: what pages ask the scheduler to do soon
-- grain:   request
create table if not exists requests (number integer primary key, flow varchar not null, about varchar not null);
