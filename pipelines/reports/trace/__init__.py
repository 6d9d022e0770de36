"""The reports of a trace."""
