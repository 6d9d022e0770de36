"""The way through the lehr."""
