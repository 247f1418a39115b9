"""Hourly weather of places, quality-checked, with its source and issue time."""
