"""Feed file -> kept rows + refused rows: find, map, parse, cast, validate, commit, file away.

**One way to read a file.** Every format becomes dictionary-encoded text cells with line numbers (`intake/raw.py`); each
*distinct* text is cast once in Python (`cast.py`), so that a bad cell costs nothing to its neighbours and no second,
slower path is needed. pandera checks the typed frame; its failures become refusals. Arrow's CSV reader is used only
while one record is provably one physical line; otherwise a careful reader in plain Python takes over, so that line
numbers are always right.

**Which of two files is the later** is decided by the time of writing, then by name. Unknown columns refuse a file
whole: a misspelt optional column would otherwise read as empty without a word.

**No file stops the others** (`intake/net.py`). Whatever is raised while one file is read, sorted or committed sets that
file aside whole, as `our_fault` with the exception's kind; a group that fails is tried file by file. Troubles of the
site (disk, rights, a held ledger) stop the run as before. Names are kept as they can be shown, shortened to 200 bytes
in archive and quarantine, whole in the ledger. `tests/intake/hostile.py` is the set of what was met.

**Bounded memory.** A file is refused by what it unpacks to (512 MB, 6 million lines), by its different texts (3
million, 128 MB) and by wrong rows (300,000, 32 MB): each costs Python objects. A row is at most 128 KiB: DuckDB reads
2,048 at once. Parquet is looked at page by page before anything is unpacked (`parquet_pages.py`): neither its footer
nor its size says what it holds. What unpacks to more than 64 MB or a million lines is read with nothing beside it
(`run.py: _alone`), its bytes let go of and its open file kept instead. JSON lines and the careful way gather codes, not
texts (`raw.py: Cells`).

**Where an intake's time goes**, as shares of DuckDB's own typed read of the same files: splitting the text 0.5, sorting
the rows into kept and refused 0.4, putting them into the ledger 0.6 to 0.8 (for eleven columns, whatever the source:
Arrow, Parquet, made up in SQL), the rest 0.3. Tried and not faster: polars' CSV reader with counts as integers and a
look at the lines that fail, strings instead of dictionary cells, ENUM columns, no compression, other groups, more or
fewer threads, reading on beside a commit (each core does less when the other works).
"""

from pipelines.intake.run import take_in
from pipelines.intake.taken import IntakeReport

__all__ = ["IntakeReport", "take_in"]
