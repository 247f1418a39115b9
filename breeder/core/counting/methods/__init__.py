"""All ways to count a tub, each with its own bound, and what is stored of a count."""

from ..defaults import EYE_CLASSES, SHARED_SD, EyeClass
from ..errors import BadCount
from .change_in_ratio import Sexes, by_sexes
from .count import Count, log_sd_of, working
from .direct import ONE_BY_ONE, after_sale, full_sort, hand, left_after, weight
from .mark_recapture import marked
from .removal import removal
from .subsample import Layer, layers, portions
from .visual import eye, index, piece, wilson

__all__ = [
    "EYE_CLASSES",
    "ONE_BY_ONE",
    "SHARED_SD",
    "BadCount",
    "Count",
    "EyeClass",
    "Layer",
    "Sexes",
    "after_sale",
    "by_sexes",
    "eye",
    "full_sort",
    "hand",
    "index",
    "layers",
    "left_after",
    "log_sd_of",
    "marked",
    "piece",
    "portions",
    "removal",
    "weight",
    "wilson",
    "working",
]
