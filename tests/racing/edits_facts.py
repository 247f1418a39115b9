"""How many hands change one order at once, and how many orders in turn; known to the race and to its judge."""

HANDS = 4
ORDERS = 3
ANSWER_S = 60
