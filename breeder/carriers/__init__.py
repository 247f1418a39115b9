"""Carriers' services, their closures, and the book of rules and permits."""
