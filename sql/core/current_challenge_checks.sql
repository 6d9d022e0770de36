-- purpose: feed challenge_checks as it now stands
-- grain:   one challenge of a station with one reference sample
-- reads:   challenge_checks
create or replace view current_challenge_checks as
select checked_at, line, station, defect, passes, caught, "by", batch, file_line
from challenge_checks
where replaced_at is null;
