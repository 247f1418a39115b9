"""How many rows are committed one after another; known to the program that commits and to its judge."""

COMMITS = 12
