"""The cautions that pages and answers carry, once each."""

from __future__ import annotations

from pipelines.words import say

CAUTION = say(
    "The tool advises. Holds, releases and sorting are decided by the works' authorised people under its "
    "quality system."
)
PAGE_CAUTION = say(
    "This page advises; people decide. Holds, releases, re-sorting and answers to customers are decisions"
    " of the works' authorised people under its quality system and local law."
)
GLASS = say(
    "Rejected and held ware can be cracked or broken: wear cut-resistant gloves and eye protection, as "
    "the works' rules say."
)
FOOD = say(
    "Glass in or from a container can cut or choke. A critical defect is for the works' quality manager "
    "to act on at once; a hold list is a proposal until a person confirms it."
)
