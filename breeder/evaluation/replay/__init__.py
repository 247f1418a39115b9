"""Decide a year of real hours day by day on forecasts made from them, then run the real weather through the box."""
