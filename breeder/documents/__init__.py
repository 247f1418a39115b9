"""The paper that goes with animals and onto shelves. Reads only."""
