-- purpose: calls of a defect that a mould's own past leads one to expect in a block of hours; moulds of which little is expected are pooled (mould empty)
-- grain:   line x block's first hour x mould x defect
create table expected_cells (
    line varchar not null, hour timestamp not null, mould varchar, defect varchar not null,
    expected double not null, variance double not null, doubt double not null
);
