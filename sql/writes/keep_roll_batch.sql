-- purpose: a batch that stands for the hours rolled out of a production day's minutes
-- grain:   one feed of one production day
-- params:  batch, feed, sha256, file, at, rows, from_time, to_time, note
insert into batches
select $batch, $feed, $sha256, $file, '', 0, $at, $rows, $rows, 0, 0, 0, $from_time, $to_time, null, $note;
