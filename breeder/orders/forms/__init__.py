"""Forms of packs, orders and payments."""
