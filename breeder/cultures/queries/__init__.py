"""Reads of tubs, entries, beliefs and promises; the only place of the room that gathers rows."""
