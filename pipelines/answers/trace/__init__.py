"""A trace and everything it says."""
