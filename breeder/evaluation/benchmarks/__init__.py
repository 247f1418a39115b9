"""Measured speed: ratios against a named baseline in the same run, never a test."""
