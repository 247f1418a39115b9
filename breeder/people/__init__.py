"""Customers and swap partners, their addresses with a rounded place of their own, consent and removal."""
