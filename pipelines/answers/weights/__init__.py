"""Weights of a line."""
