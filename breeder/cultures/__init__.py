"""The tubs, the ledger, beliefs, animals set aside; what a line can spare."""
