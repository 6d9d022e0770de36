-- purpose: note arrivals of files whose bytes the ledger knows already
-- grain:   one arrival
-- reads:   repeats (feed, sha256, file: registered by the caller), batches
-- params:  at
insert into arrivals
select min(b.batch), r.file, $at, true
from repeats r
join batches b using (feed, sha256)
group by r.file;
