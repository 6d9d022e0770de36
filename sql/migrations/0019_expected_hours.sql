-- purpose: calls that a line's own past leads one to expect in an hour, by defect and by place
-- grain:   line x hour x kind (defect, mould, section, gob, station) x key
create table expected_hours (
    line varchar not null, hour timestamp not null, kind varchar not null, key varchar not null,
    expected double not null, variance double not null, doubt double not null
);
