"""One function for each thing the keeper does with tubs; each opens the one transaction that it needs."""
