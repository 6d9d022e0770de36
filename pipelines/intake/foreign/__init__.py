"""Exports that are not in the contract's words: mapped, tried, proposed."""
