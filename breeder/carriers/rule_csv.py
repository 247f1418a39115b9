"""Movement rules as a file for a spreadsheet (RFC 4180): all of it is taken, or nothing."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError

from breeder.base.csv_import import Unreadable, rows_of
from breeder.carriers.models import MovementRule
from breeder.carriers.rule_forms import MovementRuleForm
from breeder.core.compliance.regions import code_of

COLUMNS = (
    "taxon", "origin", "destination", "across_only", "effect", "authority", "permit_kind", "conditions", "citation",
    "url", "verified", "checked_on", "recheck_on", "note",
)  # fmt: skip
# What makes two rules the same.
SAME = ("taxon", "origin", "destination", "authority", "across_only", "verified")
NEEDED = {"taxon", "destination", "effect", "citation"}
YES_OR_NO = {"across_only", "verified"}
YES = {"yes", "y", "true", "1", "x"}
MOST_ROWS = 2_000
MOST_BYTES = 1_000_000
MOST_FAULTS_SHOWN = 10


class FileRefused(ValidationError):
    """Nothing of the file was kept; each sentence names the row and the remedy, the first ten of them."""

    def __init__(self, faults: Sequence[str]) -> None:
        shown = list(faults[:MOST_FAULTS_SHOWN])
        if more := len(faults) - len(shown):
            shown.append(f"{more} more faults were found.")
        said = [*shown, "Nothing of the file was kept. Mend it and send it again."]
        super().__init__([ValidationError(sentence, code="rules_file") for sentence in said])


def rules_in(file: bytes) -> list[MovementRule]:
    """Return the rules of a file, unsaved; a row that names a rule of the book is that rule, as it is to become.

    Raises FileRefused naming every fault by its row.
    """
    kept = {_key(rule): rule for rule in MovementRule.objects.all()}
    faults, found, seen = [], [], {}
    for number, row in _rows(file):
        typed = _typed(row)
        form = MovementRuleForm(typed, instance=kept.get(_key(MovementRule(**{name: typed[name] for name in SAME}))))
        if not form.is_valid():
            faults += [f"Row {number}: {said}" for errors in form.errors.values() for said in errors]
            continue
        rule = form.save(commit=False)
        key = _key(rule)
        if key in seen:
            faults.append(f"Row {number}: it is the same rule as row {seen[key]}. Keep one of the two.")
        seen[key] = number
        found.append(rule)
    if faults:
        raise FileRefused(faults)
    return found


def _key(rule: MovementRule) -> tuple[Any, ...]:
    return tuple(getattr(rule, name) for name in SAME)


def cells_of(rules: Iterable[MovementRule]) -> Iterable[Sequence[Any]]:
    """Yield rules as rows of the file, in the order of its columns."""
    for rule in rules:
        yield [_said(getattr(rule, name)) for name in COLUMNS]


def _said(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else value


def _rows(file: bytes) -> list[tuple[int, dict[str, str]]]:
    if len(file) > MOST_BYTES:
        raise FileRefused([f"The file is larger than {MOST_BYTES // 1000:,} kB, too much for a list of rules."])
    try:
        header, *rows = rows_of(file) or [[]]
    except Unreadable as fault:
        raise FileRefused([str(fault)]) from None
    heads = [head.strip().lower() for head in header]
    if lacking := NEEDED - set(heads):
        raise FileRefused([f"The first row names no column {', '.join(sorted(lacking))}. See the download."])
    if strange := set(heads) - set(COLUMNS) - {""}:
        raise FileRefused([f"The column {', '.join(sorted(strange))} means nothing here. Take it out."])
    # Numbers are those of the spreadsheet: an empty row between two rules counts.
    found = [(number, dict(zip(heads, row, strict=False))) for number, row in enumerate(rows, start=2) if any(row)]
    if not found or len(found) > MOST_ROWS:
        raise FileRefused([f"The file holds {len(found)} rules; between 1 and {MOST_ROWS} can be taken."])
    return found


def _typed(row: dict[str, str]) -> dict[str, Any]:
    """Return a row as the form would have been filled in."""
    given: dict[str, Any] = {name: row.get(name, "").strip().removeprefix("'") for name in COLUMNS}
    given |= {name: code_of(given[name]) for name in ("origin", "destination")}
    given["taxon"] = " ".join(given["taxon"].split())
    for name in YES_OR_NO:
        given[name] = given[name].lower() in YES
    return given | {"effect": given["effect"].lower()}
