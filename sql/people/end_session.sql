-- purpose: sign one browser out
-- grain:   session
-- params:  token_hash
delete from sessions where token_hash = $token_hash;
