-- purpose: every file ever received, by its content
-- grain:   one file content under one feed
-- units:   bytes, rows
create table batches (
    batch integer primary key, feed varchar not null, sha256 varchar not null, file varchar not null,
    archived_as varchar not null, bytes bigint not null, received_at timestamp not null,
    rows_read bigint not null, rows_kept bigint not null, rows_refused bigint not null,
    rows_unchanged bigint not null, rows_replacing bigint not null,
    data_from timestamp, data_to timestamp, retry_of integer, note varchar not null
);
