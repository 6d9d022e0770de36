-- purpose: every works.toml that was ever worked with
-- grain:   one content of works.toml
-- reads:   plants
select sha256, content, first_used_at
from plants
order by first_used_at, sha256;
