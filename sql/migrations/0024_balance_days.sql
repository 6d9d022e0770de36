-- purpose: what the meters of a furnace read for the ware of a production day, and what was expected to be lost unseen, as a close used it
-- grain:   revision of a production day x furnace
-- units:   JSON of measures/yields/network.py and measures/yields/usual_losses.py: containers, kg, g
create table balance_days (
    day date not null, revision integer not null, furnace varchar not null, reading varchar not null, usual varchar not null,
    told varchar not null, primary key (day, revision, furnace)
);
