"""The list of what may be sold, for the keeper and for the public. Reads only."""
