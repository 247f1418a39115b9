"""All ways to count a tub, each with its own bound, and what is stored of a count."""
