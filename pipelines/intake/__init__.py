"""Feed file -> kept rows + refused rows: find, map, parse, cast, validate, commit, file away."""

from pipelines.intake.run import take_in
from pipelines.intake.taken import IntakeReport

__all__ = ["IntakeReport", "take_in"]
