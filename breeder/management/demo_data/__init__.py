"""The demo: an invented breeder with two years of history, dates relative to today, the same for everybody."""
