"""The stock belief: from a tub's ledger entries to a likely number and a bound that is safe to sell from."""
