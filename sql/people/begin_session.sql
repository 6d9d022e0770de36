-- purpose: keep a new session
-- grain:   session
-- params:  token_hash, name, form_token, at
insert into sessions values ($token_hash, $name, $form_token, $at, $at);
