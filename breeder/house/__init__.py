"""What the household shares: settings, roles, the log of who did what, photos without position."""
