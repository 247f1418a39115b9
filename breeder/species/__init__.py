"""Species and lines: what they bear and need, with a source for every value."""
