"""How many hands want how many animals in a race; known to the arena and to the tests that judge it."""

HANDS = 16
ROUNDS = 6
STEPS = 4  # of each hand on a busy day
LAST = 10  # animals that may be sold
EACH = 3  # that each hand wants
WAIT_S = 0.25  # whoever has decided waits this long for the others to decide too, before anybody writes
CONTROL_WAIT_S = 60.0  # without the lock all of them get there, so nobody waits that long
ANSWER_S = 200  # longer than any wait above: a hand that stands still is told by name
# Of hands that take turn after turn: how many each, how long one takes, and how long SQLite itself waits for its lock.
TURNS = 10
TURN_TAKES_S = 0.02
SHORT_WAIT_S = 0.5
