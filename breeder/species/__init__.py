"""Species and lines: what they tolerate and need, with a source for every value."""
