"""Every sentence in every language: catalogues that are whole, and pages on which nothing is written past them."""
