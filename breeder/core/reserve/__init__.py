"""How many breeders of a line must stay, and how many animals may be sold."""
