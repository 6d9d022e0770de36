"""What is held and how it is sampled."""
