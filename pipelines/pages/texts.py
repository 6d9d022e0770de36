"""The words of the pages in the language of one reader, and which language that is."""

from __future__ import annotations

from functools import cache

from pipelines.words import LANGUAGES, catalogue, say

FORM_TOO_OLD = say(
    "The form did not come from a page that you were shown here, or is too old. Nothing was changed: open the page "
    "again."
)
ACTIONS = {  # what each act is, where a role does not allow it
    "read": say("read"),
    "enter": say("type something in"),
    "acknowledge": say("acknowledge a signal"),
    "repair": say("correct and retry rows"),
    "place": say("place or extend a hold"),
    "decide": say("decide about a hold"),
    "people": say("change who may do what"),
}


class Texts:
    """The texts of one language."""

    def __init__(self, language: str):
        self.language = language if language in LANGUAGES else "en"
        self.say = catalogue(self.language).write  # a message in this language; anything else as it is

    def __call__(self, template: str, **fields: object) -> str:
        """A sentence of the application in this language, its places filled."""
        return self.say(say(template, "", **fields))


@cache
def texts(language: str) -> Texts:
    return Texts(language)


def preferred(header: str, fallback: str) -> str:
    """The first known language of an Accept-Language header, by its weights (RFC 9110, 12.5.4); else `fallback`."""
    wanted: list[tuple[float, int, str]] = []
    for number, part in enumerate(header[:200].split(",")):
        name, _, weight = part.strip().partition(";q=")
        try:
            wanted.append((-float(weight or 1), number, name.split("-")[0].lower()))
        except ValueError:
            continue
    return next((name for weight, _, name in sorted(wanted) if name in LANGUAGES and weight < 0), fallback)
