"""Benchmarks of truth and of time, run by hand; figures in README.md and TRUTH.md beside this file.

`python -m tests.mutants` changes one formula of the measures at a time in a copy of the tree and runs the tests that
ought to notice (lists: `tests/mutants/*.toml`; `--only yields` for one list); by hand or at night, not in `.ci/run`.
Published data that may not be copied are read by `tests/published/outside.py`; where `CI` is set their absence fails.

The benchmarks of truth (`signals`, `yields`, `trace`, `weights`) take `--world tidy|rough|both`, `--works`, `--seed`,
`--jobs`; development seeds and held-out seeds: `tests/benchmarks/worlds.py`. Figures: `tests/benchmarks/TRUTH.md`.

Simulated works are tidy (`make_plan`) or rough (`make_plan(rough_plant(seed), …, roughness=ROUGH)`): every roughness is
a switch of `sample_feeds.simulator.Roughness` with a strength, and what it drew is written down in `Simulated.truth`.
With all switches off the feeds are those of the tidy works, to the byte (a test holds it).
`sample_feeds.simulator.disturbed` adds what goes wrong later: feeds that never come, stop, come late, pallets packed
anew, of two lines, doubtful; `misread` the meters that lie.

`python -m tests.benchmarks.signals` simulates works with faults of every scope, with faults of x2.5, with slow drifts
and without any, follows them, and prints what was found, how soon, placed and dated how well, beside a p chart with
3-sigma limits per mould and defect on the same data.
`python -m tests.benchmarks.yields` compares the yield with the truth over simulated furnace-days whose meters err, and
tells how often a lying meter is named.
`python -m tests.benchmarks.trace` asks simulated works with known escapes for cavities, forming minutes, hold lists and
expected numbers, and prints how often each is right.
`python -m tests.benchmarks.escapes` compares expected escapes with the truth on rough works (`--tidy`: tidy ones) where
every third station is never challenged, and tells where a blind station stands among the doubts.
`python -m tests.benchmarks.trace_speed --keep DIR` times cold traces eleven months back in a year of minutes of 12
lines.
`python -m tests.benchmarks.weights` simulates drifting gob positions and quiet weeks and prints delays, corrections and
false signals; `python -m tests.benchmarks.weights_speed` times a month of 12 lines.
`python -m tests.benchmarks.signal_speed` times 12 lines of 24 moulds and 30 defects through the ledger.

`python -m tests.benchmarks.readers` lets 20 readers click without pause while the intake of a 12-line hour runs.
`python -m tests.benchmarks.page_speed SITE` times every page of a site, made anew and made already. `python -m
tests.benchmarks.soak` runs weeks in an hour and samples memory, open files and databases. `python -m
tests.benchmarks.kills` kills a served site at random moments.

`python -m tests.benchmarks.table` measures what `tests/benchmarks/README.md` holds and writes it anew. `python -m
tests.benchmarks.year --keep DIR` makes a year of 12 lines at minute grain and times what people ask of it.
`COLDLEDGER_FAULTS=all pytest tests/faults` cuts every job at every call that changes a site; `python -m
tests.fuzz.parsers --minutes 60` fuzzes the parsers.
`python -m tests.fuzz.site --minutes 60` runs whole sites beside a plain model of them (`tests/fuzz/model.py`); a find
prints its seed and steps.
`tests/upgrade` keeps a small site as version 0.1.0 writes it and takes a copy of it through every later migration with
equal answers; the kept site is never made again, `python -m tests.upgrade.make 0.1.0 --answers` asks it anew where an
answer changes on purpose.

`python -m tests.benchmarks.intake` makes a plant-day of 12 lines (6 million rows of CSV, 1 % bad), reads it with DuckDB
alone and takes it in, and prints both, the ratio, the peak memory and how long the ledger was locked. No test depends
on time. `python -m tests.benchmarks.intake_bounds` takes in 20,000 files of one row and files of 5 million rows, good,
wrong and spoiled, and prints time and greatest memory of each.
"""
