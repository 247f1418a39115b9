"""How good and how fast we are: replay on real weather, and benchmarks. The site never imports it."""
