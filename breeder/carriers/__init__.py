"""Services and the days on which they carry nothing."""
