"""When the second of two clicks comes; known to the program that clicks and to the tests that judge it."""

AT_ONCE = "both at once"
WRITING = "while the first is writing"
LATE = "past the first look at the token, as the first is done"
MOMENTS = (AT_ONCE, WRITING, LATE)
ROUNDS = 4  # of two clicks at once, for each form
WRITES_FOR_S = 0.3  # the first stays so long in its transaction, so that the second comes while it is open
ANSWER_S = 60
