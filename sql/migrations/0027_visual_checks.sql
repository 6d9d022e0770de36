-- purpose: feed visual_checks, every version of every row
-- grain:   one defect in one person's sample, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table visual_checks (
    sampled_at timestamp not null, line varchar not null, item varchar not null, defect varchar, sample_units bigint not null,
    found bigint not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
