"""Pages of kits, boxes and the calendar."""
