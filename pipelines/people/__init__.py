"""Who may do what, and what was done: roles, sign-ins, the books of the served site.

**The books** (`people/books.py`) are SQLite, not the ledger: sessions and runs change every minute and must not make
readers wait. Statements in `sql/people/`.

**Who may write**: `Web.acting` alone decides (own form by Origin and Sec-Fetch-Site, session, masked form token, role),
and notes what it refuses.
"""
