"""The laboratory's page."""
