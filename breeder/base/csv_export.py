"""Lists as a file for a spreadsheet (RFC 4180), safe to open there."""

import csv
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any

from django.http import HttpResponse

# A spreadsheet runs a cell that begins like this as a formula, whoever typed the name that stands in it.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def guarded(cell: Any) -> Any:
    """Return a cell that no spreadsheet runs as a formula; numbers stay numbers, nothing becomes an empty cell."""
    if cell is None:
        return ""
    return f"'{cell}" if isinstance(cell, str) and _runs(cell) else cell


def _runs(cell: str) -> bool:
    """Return whether this is a formula, also behind blanks and invisible signs, or by a full-width sign (NFKC)."""
    if cell.startswith(FORMULA_STARTS):
        return True
    for sign in cell:
        if unicodedata.category(sign)[0] not in "ZC":
            return unicodedata.normalize("NFKC", sign).startswith(FORMULA_STARTS)
    return False


def csv_answer(name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """Return a download; its byte order mark lets a spreadsheet read accents and signs as they are."""
    response = HttpResponse(
        content_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
    response.write("\ufeff")
    writer = csv.writer(response)
    writer.writerow(header)
    writer.writerows([guarded(cell) for cell in row] for row in rows)
    return response
