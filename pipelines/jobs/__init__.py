"""The work that flows, pages and commands order: plain functions over a site, no scheduler in sight.

**Made again from the archive** (`jobs/from_archive.py`): `archive/received.jsonl` lists every file with its batch and
time of receipt, so that the new ledger has the same batches, versions and history; without the list the files' own
times give the order. It is made in `.from-archive/` and renamed into place under the gate. What no file brings (closes,
balances, acknowledgements, former works.toml) is carried over where the old ledger can be read; holds have their own
copy.

**Rolled minutes** (`jobs/rollup.py`): hours take the place of minutes in the same tables, as longer windows, which
every query and `exposure.spread` take as they are; a batch stands for them. Minutes of then are refused, or they would
count twice.

**Elsewhere** (`ledger/export.py`, `jobs/from_exports.py`, `flows/from_exports.py`): a reader over an export is an empty
ledger in memory into which the days that a unit needs are put, so every query and measure runs unchanged. The unit of
marts is a production day of a furnace, not of a line: a fault of the glass is told apart by following its lines
together. Workers only answer; one process names signals in order and writes, with rows sorted, so that the bytes do not
depend on who worked. On Dask a task takes four units, because a task run costs more than a unit. `by` over several
works is what means the same in each: defect (by name), zone, severity.

**Signals are kept by production day.** `jobs/signals.py` follows a touched day from the same 60 hours before its start
(48 to learn from, 12 to follow), whatever files came, so that a day's signals and expectations depend on the ledger
alone and a rebuild finds them again. Names are carried over from the day before by place and time. `coldledger signals`
follows anew from the minutes, at any minute, and takes names and acknowledgements from what was kept. Thresholds
(`scan.FALSE_DISCOVERY`, `WEIGHTS`, `scope.PRIORS`) were set on simulated works; the prior probabilities of places by a
defect's origin are common practice without a source.

**What a close keeps**: its answers, the readings, the expectation and which closes of earlier days it was judged
together with (`balance_days`). All that is settled by a day's first close; later closes and rebuilds take it again, so
that a rebuild finds the same answers although earlier days were closed anew meanwhile. Closes kept before that was
noted take the newest readings.

**Two processes** (`jobs/pool.py`) answer side by side and never write; the one that asked writes. `rebuild` notes what
is done in `.rebuild.json`.
"""
