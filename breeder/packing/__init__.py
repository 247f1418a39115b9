"""Kits, supplies on the shelf, and what goes in which box."""
