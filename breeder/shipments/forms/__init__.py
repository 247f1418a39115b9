"""Forms of kits, supplies and boxes."""
