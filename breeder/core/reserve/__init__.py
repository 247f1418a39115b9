"""How many breeders must stay, and what may be sold.

Floor 0: numpy, scipy and the standard library only; the book alone also reads the census room.
"""
