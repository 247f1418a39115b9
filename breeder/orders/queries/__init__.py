"""Reads of packs and orders, of promises, and of who got what; the only place of this room that gathers rows."""
