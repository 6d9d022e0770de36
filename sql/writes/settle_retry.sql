-- purpose: mark the refused rows of a batch as retried in another
-- grain:   one refused row
-- params:  at, batch (the new one), old (the batch they were refused in)
update refused_rows
set retried_in = $batch, retried_at = $at
where batch = $old and retried_at is null;
