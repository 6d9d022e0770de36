"""What was thrown away, where: ranked, by cavity, by hour."""
