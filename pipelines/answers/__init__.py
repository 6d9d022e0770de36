"""Questions answered: the ledger asked, the measures applied. What the command line, flows and reports call.

**Sources printed are sources asked**: the ledger's reader notes its queries (`Reader.asked`); whoever makes a page or a
trace begins with `reader.noting()` and prints what was noted.

**Nothing is imported here**: who asks for one answer does not wait for the modules of all others.
"""
