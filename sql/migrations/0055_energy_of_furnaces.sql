-- purpose: column energy_kwh of melt_log: energy used in the window; null where it was not told
-- grain:   window x furnace, a row a version
-- units:   kWh
alter table melt_log add column energy_kwh double;
