"""What to tell people, as text to copy: nothing is ever sent from here."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, urlencode

from django.utils import timezone

from breeder.cultures.models import Culture
from breeder.people.models import Person
from breeder.species.models import Line


@dataclass(frozen=True)
class Letter:
    """A message to one person, to be copied."""

    person: Person
    subject: str
    body: str

    @property
    def mailto(self) -> str:
        """Return an address that opens the message in the keeper's own mail program; empty without an e-mail."""
        if not self.person.email:
            return ""
        asked = urlencode({"subject": self.subject, "body": self.body}, quote_via=quote)
        return f"mailto:{quote(self.person.email, safe='@')}?{asked}"


def crash_letter(person: Person, handed: Sequence[tuple[datetime, str]], tub: Culture, trade_name: str) -> Letter:
    """Return what to tell somebody whose animals came out of a tub that crashed since."""
    got = " and ".join(f"{said} on {timezone.localtime(at):%-d %B %Y}" for at, said in reversed(handed))
    body = (
        f"Hello {person.name},\n\n"
        f"you had {tub.line} from me: {got}. The tub that they came from has crashed since{_seen(tub)}. "
        "Yours may be well. Please keep them apart from your other animals for four weeks, look at them every few "
        "days, and tell me how they do.\n\n"
        "If they thrive, I may ask to have some back, so that the line goes on.\n\n"
        f"{trade_name}"
    )
    return Letter(person, f"Your {tub.line}", body)


def wait_letter(person: Person, held: str, missing: int, line: Line, trade_name: str) -> Letter:
    """Return what to ask somebody whose promise is not covered: to wait, to take another line, or their money."""
    all_of_it = held.startswith(f"{missing} ")
    if missing == 1:
        some = "It is not" if all_of_it else "1 of them is not"
    else:
        some = "None of them is" if all_of_it else f"{missing} of them are not"
    body = (
        f"Hello {person.name},\n\n"
        f"I hold {held} of {line} for you. {some} there after my last count, and I do not send what the line needs to "
        "live on. You may wait until they have grown up, take another line instead, or have your money back. "
        "Please tell me what suits you.\n\n"
        f"{trade_name}"
    )
    return Letter(person, f"Your {line}", body)


def _seen(tub: Culture) -> str:
    """Return what was seen of the crash, as the reason that keeps the tub out of sale has it after its date."""
    _, _, seen = tub.not_for_sale.partition(": ")
    return f" ({seen})" if seen and tub.not_for_sale.startswith("crashed on ") else ""
