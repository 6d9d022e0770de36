-- purpose: what was decided of holds: proposed, confirmed, placed, extended, released, scrapped, dismissed; nothing is ever changed or removed
-- grain:   one pallet in one decision
create table hold_events (
    event integer not null, hold varchar not null, pallet varchar not null, action varchar not null,
    told_at timestamp not null, by_whom varchar not null, why varchar not null, evidence varchar not null
);
