"""Customers and swap partners: their addresses, rounded places, consent and removal."""
