"""From the furnace to the pallet: what every meter read, what balances, what was lost where."""
