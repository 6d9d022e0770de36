"""The invented works: its plant file, a small day, files with one fault each, and a simulator with known truth."""
