"""What has to be said of a Pareto beside its figures, on pages and on the terminal alike."""

from __future__ import annotations

from pipelines.measures.pareto.kinds_of_call import uncounted_words
from pipelines.measures.pareto.unread import Unread, unread_caption
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.words import say
from schemas.answers.pareto import Pareto


def doubt_words(pareto: Pareto) -> str:
    """Stations that sent no counts, calls without a mould number, more rejected than counted: sentences with a space
    before each, or nothing.
    """
    words = uncounted_words(pareto.uncounted)
    if pareto.unread_share:
        words += say(
            " {unread_caption}", unread_caption=unread_caption(Unread(pareto.unread_share, pareto.unread_stations))
        )
    if wrong := more_than_whole(pareto.rejected, pareto.ware):
        words += say(" {wrong}", wrong=wrong)
    return words
