-- purpose: what of an hour could not be judged, and why
-- grain:   line x hour x reason
create table hour_doubts (line varchar not null, hour timestamp not null, doubt varchar not null);
