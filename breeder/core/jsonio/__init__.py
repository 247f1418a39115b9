"""Read a JSON document so that every fault is named at once, each with its place.

All subjects of ``manage.py reckon`` (heat, check, count, reserve, book, cross) read their documents with this package,
so that they all refuse the same things in the same words.
"""

CONTRACT = 1  # the "contract" that every answer carries
