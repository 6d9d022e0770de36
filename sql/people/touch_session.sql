-- purpose: note that a session is in use
-- grain:   session
-- params:  token_hash, at
update sessions set seen = $at where token_hash = $token_hash;
