"""Kits, supplies, parcels, checks, the packing day and the shipping calendar."""
