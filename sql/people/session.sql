-- purpose: a session that is neither idle nor old, with the person as they are now
-- grain:   session
-- params:  token_hash, seen_after, begun_after
select s.name, s.form_token, s.seen, p.roles
from sessions s
join people p using (name)
where s.token_hash = $token_hash and s.seen > $seen_after and s.begun > $begun_after and p.ended_at is null;
