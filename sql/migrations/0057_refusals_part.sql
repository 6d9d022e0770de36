-- purpose: column part of refusals: which of the refused rows of its line a wrong value belongs to, from 0
-- grain:   one wrong value of a refused row
alter table refusals add column part integer default 0;
