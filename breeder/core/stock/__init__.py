"""What the book believes of a tub: X + moved, from the ledger's events, with a bound that is safe to sell from."""
