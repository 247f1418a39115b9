"""The counting methods, each with its own lower bound, and the count they return."""
