"""Where the glass went, as pictures and tables."""
