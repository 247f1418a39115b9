"""Where animals may go, what carriers take, permits; countries and states."""
