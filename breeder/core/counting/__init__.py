"""Counting methods: how many animals a tub holds, and the number that is safe to rely on."""
