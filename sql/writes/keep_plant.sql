-- purpose: keep a works.toml that was not used before
-- grain:   one content of works.toml
-- params:  sha256, content, at
insert into plants values ($sha256, $content, $at);
