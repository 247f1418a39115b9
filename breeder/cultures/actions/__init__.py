"""One function for each thing the keeper does with tubs; each opens the one transaction that it needs."""

from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import care_for_shelf, record_count, record_looked
from breeder.cultures.actions.crashes import end_crash, mark_crashed, set_sister_apart
from breeder.cultures.actions.freezes import end_freeze, freeze_line
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.actions.minimums import set_minimum
from breeder.cultures.actions.rounds import BadRound, Visit, record_round
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.transfers import Animals
from breeder.cultures.actions.tubs import Place, close_tub, merge_tubs, split_tub, start_tub

__all__ = [
    "Animals",
    "BadRound",
    "Place",
    "Recorded",
    "Visit",
    "care_for_shelf",
    "close_tub",
    "correct_entry",
    "end_crash",
    "end_freeze",
    "freeze_line",
    "mark_crashed",
    "merge_tubs",
    "move_animals",
    "record_change",
    "record_count",
    "record_looked",
    "record_round",
    "set_minimum",
    "set_not_for_sale",
    "set_purpose",
    "set_sister_apart",
    "split_tub",
    "start_tub",
]
