"""From what is in hand to cavities and pallets; and how far the stations' word can be taken."""
