-- purpose: column refed of station_counts: containers among `inspected` that had been sent through before; null where the station does not say
-- grain:   window x station x mould number, a row a version
-- units:   containers
alter table station_counts add column refed bigint;
