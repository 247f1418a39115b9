"""Inner parts of actions on boxes; all need the caller's transaction."""
