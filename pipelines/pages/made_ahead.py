"""The pages that everybody opens, made before anybody asks for them."""

from __future__ import annotations

from pipelines.pages.page_question import PageQuestion
from pipelines.pages.places.day import day_page
from pipelines.pages.places.hour import live_hour
from pipelines.pages.places.machine_readable import figures_page
from pipelines.pages.places.moulds import HOURS, SHIFT_HOURS, cavity_map
from pipelines.pages.places.now import live_now
from pipelines.pages.places.report_files import newest_close
from pipelines.pages.web import Web


def made_ahead(web: Web) -> list[PageQuestion]:
    """The figures for monitors; now, every line's newest hour and cavities (of the hours usual on the map, and of a
    shift), the newest day.
    """
    lines = web.desk.opened.plant.lines
    return [
        figures_page(web),
        live_now(web, False),
        live_now(web, True),
        *(live_hour(web, line) for line in lines),
        *(cavity_map(web, line, None, hours, None) for hours in (HOURS, SHIFT_HOURS) for line in lines),
        *(day_page(web, on) for on in newest_close(web)),
    ]
