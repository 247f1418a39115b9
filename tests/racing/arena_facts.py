"""How many hands want how many animals in a race; known to the arena and to the tests that judge it."""

HANDS = 8
ROUNDS = 2
STEPS = 5  # of each hand on a busy day
LAST = 10  # animals that may be sold
EACH = 3  # that each hand wants
WAIT_S = 0.25  # whoever has decided waits this long for the others to decide too, before anybody writes
CONTROL_WAIT_S = 60.0  # without the lock all of them get there, so nobody waits that long
FILE_WAIT_S = 180
ANSWER_S = 150  # longer than any wait above but the file's: a hand that stands still is told by name
