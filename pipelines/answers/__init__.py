"""Questions answered: the ledger asked, the measures applied. What the command line, flows and reports call.

**Sources printed are sources asked**: the ledger's reader notes its queries (`Reader.asked`); whoever makes a page or a
trace begins with `reader.noting()` and prints what was noted.
"""

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.yields.answer import answer_yield, yield_as_known

__all__ = ["answer_pareto", "answer_trace", "answer_yield", "yield_as_known"]
