"""Inner parts of actions: writing the log, and forgetting a name in it."""

import json
import re
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.db.models import Q
from django.utils import timezone

from breeder.base.models import LogRow


def log(
    did: str,
    about: str,
    sentence: str,
    *,
    by: AbstractBaseUser | None,
    reason: str = "",
    facts: dict[str, Any] | None = None,
) -> LogRow:
    """Write one row of the log inside the caller's transaction."""
    return LogRow.objects.create(
        at=timezone.now(), by=by, did=did, about=about[:120], sentence=sentence, reason=reason, facts=facts or {}
    )


def forget_words(words: str, instead: str) -> int:
    """Put `instead` where the log says `words` (a name, as whole words), and return how many rows said them."""
    whole = re.compile(rf"(?<!\w){re.escape(words)}(?!\w)")
    changed = 0
    for row in LogRow.objects.filter(_says(words)):
        row.about, row.sentence, row.reason = (
            whole.sub(instead, text) for text in (row.about, row.sentence, row.reason)
        )
        row.about = row.about[:120]
        row.facts = json.loads(whole.sub(instead, json.dumps(row.facts, ensure_ascii=False)))
        row.save(update_fields=["about", "sentence", "reason", "facts"])
        changed += 1
    return changed


def _says(words: str) -> Q:
    return Q(about__contains=words) | Q(sentence__contains=words) | Q(reason__contains=words)
