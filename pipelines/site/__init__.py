"""The folder of a site: made, found and opened; who holds it; files written whole."""
