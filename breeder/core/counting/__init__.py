"""How many animals a tub holds, and the number that is safe to rely on.

Floor 0: numpy, scipy and the standard library only.
"""
