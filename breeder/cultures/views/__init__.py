"""Pages of the room: the round, tubs, what happens to them, and lines."""
