"""The ledger: the only package that imports duckdb. pipelines.ledger.delivery takes files in.

**Versions.** A fact table holds every version of every row; `replaced_at` is null on the one in force; `current_<feed>`
views show those. What replaces what is decided by a pure function (`ledger/delivery.py: plan_versions`) before the
ledger is locked.

**Windows over each other** (`ledger/windows.py`): an hour beside minutes of its own key is refused, whichever came
later, where half of the shorter is shared or the start is the same. At one start only the same counts replace a window
of another length: that corrects a length, whereas a minute in the place of its hour would lose the hour. Decided file
by file in the order of receipt, so that a ledger made from the archive decides alike. Windows of one length are a
matter of clocks and left to `feeds doubts`.

**Locks.** `.locks/intake` allows one intake; `.locks/gate` lets a waiting writer keep new readers out. Nothing but
DuckDB opens `ledger.duckdb`.

**Killed at any instant.** Files leave the inbox only after the commit that names them. A file still there whose bytes
the ledger knows is filed away by the next run. A new ledger is made whole under another name and then renamed
(`store.py: _be_born`). `quarantine/` is made from the ledger and made again when it is lost.

**A checkpoint can be torn.** DuckDB writes over the blocks that describe its tables in place; a power cut in the middle
of such a write leaves a ledger that cannot be opened (found by `tests/faults`, reproducible). So a writer first keeps a
copy of those blocks and the headers (`ledger/guard.py`), and whoever finds that copy beside a ledger that does not open
puts it back. It costs two small reads and one forced write a commit.

**The damage report** (`ledger/blocks.py`) reads the file itself, in a process of its own: DuckDB checks a block when it
reads it, and reads only those that an answer needs. A copy of one block over another has a checksum that holds: of
blocks in use that are alike `check` says that it cannot vouch for them.

**A copy** (`ledger/keeping.py: copy_ledger`) is taken byte for byte under the gate, by a process that has the ledger
open nowhere else (closing a second handle would drop DuckDB's lock), and then read whole.

**Kept open between answers** (`ledger/resting.py`): to open a year's ledger and read where its tables lie costs 0.15 s,
more than most answers. The pages therefore keep one connection, and close it within 0.03 s of the file `.locks/wanted`,
which whoever takes the gate writes before (one that a killed writer left costs speed only), after a minute without a
question, and when another file lies in the ledger's place.

**A question about an hour must not cost a year.** DuckDB's `partitioned_execution` cuts a sort or a grouping of a great
table into hundreds of scans before it looks at the filter (3 s instead of 0.02); readers and writers switch it off
(`store.py`). The ends of a line's counts are found by a sort with a limit, which passes over row groups; a minimum over
the table reads all of it (`answers/counted_span.py`). Sums of challenges come counted from SQL. What is left of each
question to a year's table is DuckDB's look at the limits of 15,000 row groups, 15 ms. Row groups eight times larger
(`attach ... (row_group_size)`) make that 5 ms, but an intake twice as slow; only in what `compact` writes they gave a
trace a tenth and took `compact` half as long again, so they stay as they are.

**As known at** (`ledger/past.py`): a second, empty database stands before the ledger with views of each table as it
was; all queries run unchanged. Hourly marts are not kept by version.
"""

from pipelines.ledger.reader import Reader
from pipelines.ledger.store import Ledger

__all__ = ["Ledger", "Reader"]
