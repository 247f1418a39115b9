"""The keeper's first page. Reads only."""
