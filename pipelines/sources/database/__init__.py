"""Databases: rows since a watermark become feed files in the inbox, whole or not at all.

**Why SQLAlchemy** and not ADBC: Prefect brings it, so it costs nothing; one way to bind, to stream and to set a session
read-only over sqlite3, psycopg and pyodbc. ADBC hands over Arrow, which an intake of some thousand rows an hour does
not need; NUMERIC comes out of it as text, and it has no driver for SQL Server that a package index holds. ODBC is
spoken by a dialect of our own (`odbc_dialect.py`): the query is the works' own, so that nothing of a server's SQL needs
to be known.

**Nothing lost, nothing doubled** (`progress.py`). A file is written beside its place in the inbox and forced to the
disk; then what is known from now on (watermark, rows given out, the file's name) is noted as pending; then the file
takes its name; then the note takes effect. Whatever instant a process is killed at, the next one finds either no note
(the rows are asked for again) or finishes what the note says.

**Rows written late** (`reading.py`): the database is asked again from `again_minutes` before the newest row, and what
was given out of that span is told by the digests of its rows. Leaving that to the ledger alone would be wrong: a row
that comes again is later than what a person has entered meanwhile, and would replace it. The watermark never stands
later than now: one row of the year 2099 would otherwise hide all that follow.

**A source that is away is late.** What a driver says goes through `trouble.py`, which takes the password out.
"""
