"""Pure decisions about boxes."""
