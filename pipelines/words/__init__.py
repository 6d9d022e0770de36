"""The words that people read, in their language: a sentence is made once, in English, and written in another language
where a page is written.

A message (`say("{count} of {ware} containers", count=…, ware=…)`) is a `str`, its English sentence, so that terminal,
CSV, JSON and the pages on disk are what they are without knowing of it. It also carries its template, the key of the
catalogue in gettext's way, and its fields, which may be messages again; `say_n` has plural forms, `joined`, `+` and
`beginning` make messages of messages. A catalogue (`pipelines/words/de.po`, read by Babel) writes a message by its
template, its fields first; whatever is no message stays as it is, so nothing from a feed is ever translated. A template
without a letter is layout and needs no entry. A drawing is an SVG with the messages in it: it is drawn once, and its
texts are exchanged, and its sides widened for longer ones, where it is written. A `numeral` in a message is English
for programs, and has the works' marks where a page is written.

What loses a message, because it makes a plain `str`: an f-string, `str.join`, `str()`, a slice. What keeps one: pickle,
`copy`, a dataclass, a field of type `schemas.texts.Text`, and `packed`/`unpacked` for JSON. Sentences
that a ledger keeps are plain English in its columns; `recalled` reads them back by the templates they were made of.

Tried before: finished sentences matched by patterns and replaced as they were shown. Nothing could tell that a sentence
had no pattern any more, a page was seldom whole, and a place swallowed words that it should not have.
`tests/words` finds every template that a catalogue lacks, and every sentence on a page that is no message.
"""

from pipelines.words.catalogues import LANGUAGES, Catalogue, catalogue
from pipelines.words.drawing import Drawing
from pipelines.words.keeping import packed, unpacked
from pipelines.words.message import Message, Worded, beginning, joined, say, say_n, sentence_of
from pipelines.words.moments import dated, day_named, moment_dated
from pipelines.words.numerals import Numeral, numeral, use_marks
from pipelines.words.recall import recalled, template
from pipelines.words.trade import defect_name, worded

__all__ = [
    "LANGUAGES",
    "Catalogue",
    "Drawing",
    "Message",
    "Numeral",
    "Worded",
    "beginning",
    "catalogue",
    "dated",
    "day_named",
    "defect_name",
    "joined",
    "moment_dated",
    "numeral",
    "packed",
    "recalled",
    "say",
    "say_n",
    "sentence_of",
    "template",
    "unpacked",
    "use_marks",
    "worded",
]
