-- purpose: keep that a name has signed in well from an address
-- grain:   name and address
-- params:  name, place, now
insert into doors values ($name, $place, $now) on conflict (name, place) do update set signed_in = excluded.signed_in;
