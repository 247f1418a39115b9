"""Reads of parcels and checks."""
