"""Where a lehr time comes from, as templates."""

from __future__ import annotations

from pipelines.words import template

NOMINAL = template("nominal value of works.toml, assumed right to {minutes} min")
ESTIMATED = template("estimated from forming against station counts, 95 %: {low} to {high} min")
NEAREST = template(
    "estimated from forming against station counts, the nearest hour that shows it, 95 %: {low} to {high} min"
)
