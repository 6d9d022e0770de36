"""Capacity, density, annealing, samples and the discipline of checks."""
