"""Measure how good and how fast the tool is: replay on real weather, and benchmarks. The site never imports it."""
