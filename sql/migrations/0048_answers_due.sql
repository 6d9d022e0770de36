-- purpose: column answer_due of complaints: the day by which the customer is to be answered; null where it was not told
-- grain:   one complaint, a row a version
alter table complaints add column answer_due date;
