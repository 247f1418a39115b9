"""Movement rules as a CSV file (RFC 4180) that is loaded whole or not at all."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError

from breeder.base.csv_import import Unreadable, rows_of
from breeder.carriers.models import MovementRule
from breeder.carriers.rule_forms import MovementRuleForm
from breeder.core.compliance.regions import region_code

COLUMNS = (
    "taxon", "origin", "destination", "across_only", "effect", "authority", "permit_kind", "conditions", "citation",
    "url", "verified", "checked_on", "recheck_on", "note",
)  # fmt: skip
# Two rows with the same values here are the same rule.
RULE_KEY = ("taxon", "origin", "destination", "authority", "across_only", "verified")
NEEDED = {"taxon", "destination", "effect", "citation"}
YES_OR_NO = {"across_only", "verified"}
YES = {"yes", "y", "true", "1", "x"}
MOST_ROWS = 2_000
MOST_BYTES = 1_000_000
MOST_FAULTS_SHOWN = 10


class FileRefused(ValidationError):
    """The file was refused whole; up to ten sentences name the row, the fault and the remedy."""

    def __init__(self, faults: Sequence[str]) -> None:
        shown = list(faults[:MOST_FAULTS_SHOWN])
        if more := len(faults) - len(shown):
            shown.append(f"{more} more faults were found.")
        sentences = [*shown, "Nothing of the file was kept. Mend it and send it again."]
        super().__init__([ValidationError(sentence, code="rules_file") for sentence in sentences])


def rules_in(file: bytes) -> list[MovementRule]:
    """Return the unsaved rules of a file; a row for a rule in the book returns that rule with its new values.

    Raises FileRefused, which names every fault by its row.
    """
    kept = {_key(rule): rule for rule in MovementRule.objects.all()}
    faults, rules, seen = [], [], {}
    for number, row in _rows(file):
        typed = _typed(row)
        form = MovementRuleForm(
            typed, instance=kept.get(_key(MovementRule(**{name: typed[name] for name in RULE_KEY})))
        )
        if not form.is_valid():
            faults += [f"Row {number}: {error}" for errors in form.errors.values() for error in errors]
            continue
        rule = form.save(commit=False)
        key = _key(rule)
        if key in seen:
            faults.append(f"Row {number}: it is the same rule as row {seen[key]}. Keep one of the two.")
        seen[key] = number
        rules.append(rule)
    if faults:
        raise FileRefused(faults)
    return rules


def _key(rule: MovementRule) -> tuple[Any, ...]:
    return tuple(getattr(rule, name) for name in RULE_KEY)


def rule_rows(rules: Iterable[MovementRule]) -> Iterable[Sequence[Any]]:
    """Yield rules as rows of the file, in column order."""
    for rule in rules:
        yield [_cell(getattr(rule, name)) for name in COLUMNS]


def _cell(value: Any) -> Any:
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
    # Numbers are those of the spreadsheet, so an empty row between two rules counts.
    filled = [(number, dict(zip(heads, row, strict=False))) for number, row in enumerate(rows, start=2) if any(row)]
    if not filled or len(filled) > MOST_ROWS:
        raise FileRefused([f"The file holds {len(filled)} rules; between 1 and {MOST_ROWS} can be taken."])
    return filled


def _typed(row: dict[str, str]) -> dict[str, Any]:
    """Return a row as form data."""
    given: dict[str, Any] = {name: row.get(name, "").strip().removeprefix("'") for name in COLUMNS}
    given |= {name: region_code(given[name]) for name in ("origin", "destination")}
    given["taxon"] = " ".join(given["taxon"].split())
    for name in YES_OR_NO:
        given[name] = given[name].lower() in YES
    return given | {"effect": given["effect"].lower()}
