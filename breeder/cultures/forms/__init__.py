"""Forms of tubs, counts and lines; each answers in whole sentences and keeps what was typed."""
