"""One function for each thing the keeper does with kits, supplies and boxes."""
