"""The laboratory's day."""
