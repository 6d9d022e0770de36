-- purpose: keep what the meters of a furnace read, with what was expected, beside a close
-- grain:   revision of a production day x furnace
-- params:  day, revision, furnace, reading, usual, told
insert into balance_days values ($day, $revision, $furnace, $reading, $usual, $told);
