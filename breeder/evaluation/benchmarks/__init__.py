"""Benchmarks: ratios against a named baseline in the same run. Speed is never a test."""
