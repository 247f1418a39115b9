"""How warm the inside of a box becomes, hour by hour, and what risk a kit runs: pure functions, no Django."""
