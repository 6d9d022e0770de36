-- purpose: feed density_checks, every version of every row
-- grain:   one reading of a furnace's glass, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table density_checks (
    sampled_at timestamp not null, furnace varchar not null, density_g_cm3 double, standard_g_cm3 double, standard_settles_c double,
    sample_settles_c double, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
