"""Feed file -> kept rows + refused rows: find, map, parse, cast, validate, commit, file away."""

from pipelines.intake.run import IntakeReport, take_in

__all__ = ["IntakeReport", "take_in"]
