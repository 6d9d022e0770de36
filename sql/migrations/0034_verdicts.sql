-- purpose: feed verdicts, every version of every row
-- grain:   one finding in what a person looked at, a row a version; replaced_at is null on the version in force
-- units:   times in UTC; the rest as in schemas/quantities.py
create table verdicts (
    looked_at timestamp not null, line varchar not null, stream varchar not null, station varchar, called varchar,
    mould varchar, found varchar, units bigint not null, "by" varchar,
    batch integer not null, file_line integer not null, replaced_at timestamp, replaced_by integer
);
