"""The reference: topics in Markdown beside the code they are about, printed by the command and shown on the web.

**Beside the code.** `measures/trace/trace.md` is the topic `trace`; whoever changes a measure sees its words. One list
(`topics.py`) says which there are, in the order in which they are told; a test finds a file that stands in no list.

**Made from the code.** A line of its own in braces, such as `{keys: mapping}`, is replaced by a list made from what is
declared: keys of works.toml, columns of feeds, reasons for refusal, roles, limits, variables, fields of answers
(`lists.py`). What a list is missing is missing in the code, or a test says so. What a figure of an answer is, in what
unit and of what, stands under its field in `schemas/answers`; how it is come by, in the topics.

**One text, three ways.** Plain Markdown where it is piped, Rich's on a terminal, HTML under `/help`. No HTML is passed
through. Topics refer to each other as commands, which the web turns into links.
"""

from pipelines.help.topics import TOPICS, Topic, text_of, topic_of

__all__ = ["TOPICS", "Topic", "text_of", "topic_of"]
