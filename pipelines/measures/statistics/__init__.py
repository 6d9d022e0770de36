"""Statistics that know nothing of glass: shares, limits, variance components, chains, rules."""
