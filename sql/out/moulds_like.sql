-- purpose: the mould numbers fitted at any time of a window that are nearest to one that was not: one character off, two where none is nearer
-- grain:   mould number
-- reads:   mould_spans
-- params:  number, lines (list), from_time, to_time
-- units:   apart: characters to change, add, leave out or exchange
with fitted as (
    select distinct number
    from mould_spans
    where list_contains($lines::varchar[], line) and fitted_at < $to_time and (ended_at is null or ended_at > $from_time)
        and number <> $number
),
scored as (
    select number, damerau_levenshtein(number, $number) as apart from fitted
),
nearest as (
    select * from scored where apart <= 2 and apart <= greatest(1, (select min(apart) from scored))
)
select number, apart from nearest order by apart, length(number), number limit 5;
