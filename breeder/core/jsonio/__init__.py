"""Reading a JSON document so that every fault is named at once, each with its place.

Floor 0, no Django: the subjects of ``manage.py reckon`` (heat, check, count, reserve, book, cross) read their
documents through this module, so that all of them refuse the same things in the same words.
"""

from .document_reader import REQUIRED, Reader
from .duplicate_keys import Fields, kind_of, load
from .errors import WHOLE_DOCUMENT, BadInput, Fault

CONTRACT = 1  # the "contract" that every answer carries

__all__ = ["CONTRACT", "REQUIRED", "WHOLE_DOCUMENT", "BadInput", "Fault", "Fields", "Reader", "kind_of", "load"]
