"""The yield of a day."""
