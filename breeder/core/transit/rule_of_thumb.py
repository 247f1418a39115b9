"""Apply the trade's rule of thumb for outdoor temperatures, a second opinion on a check (common practice, no source).

The rule looks only at the lowest and highest air on the way and the day after; it ignores box, sun and delays.
"""

from dataclasses import dataclass

from breeder.core.units import degrees, to_celsius

# In air beyond these nothing ships to a doorstep without a pack, whatever its odds: the model is least tested there,
# and nothing makes up for a late day (common practice, no source; the rule below never ships in such air).
HARSH_LOW_C, HARSH_HIGH_C = -5.0, 35.0
HARSH_TEXT = (
    "In air below −5 °C (23 °F) or above 35 °C (95 °F) nothing goes to a doorstep without a pack, whatever its odds "
    "(common practice). Take a kit with a pack, or have it held at a counter."
)

GO, WITH_PACK, AT_COUNTER, NO_GO = "go", "with pack", "at the counter", "no-go"
STRICTNESS = {GO: 0, WITH_PACK: 1, AT_COUNTER: 2, NO_GO: 3}


@dataclass(frozen=True)
class Thresholds:
    """The limits at which the rule changes its advice, °F as the trade writes them."""

    heat_pack_below_f: float
    counter_below_f: float
    never_below_f: float
    cool_pack_above_f: float
    counter_above_f: float
    never_above_f: float


THRESHOLDS = {
    "temperate": Thresholds(45, 40, 25, 85, 85, 95),
    "tropical": Thresholds(55, 45, 32, 85, 88, 95),
}


@dataclass(frozen=True)
class Opinion:
    """What the rule says for a journey with air from `low_c` to `high_c`."""

    word: str
    low_c: float
    high_c: float
    pack: str

    def text(self, *, fahrenheit: bool) -> str:
        """Return the opinion in a sentence."""
        low, high = (degrees(value, fahrenheit=fahrenheit) for value in (self.low_c, self.high_c))
        advice = {
            GO: "no pack needed",
            WITH_PACK: f"a {self.pack} pack",
            AT_COUNTER: f"a {self.pack} pack, and held at a counter",
            NO_GO: "do not ship",
        }[self.word]
        return f"Air between {low} and {high} on the way and the day after: {advice}."


def opinion(band: str, low_c: float, high_c: float) -> Opinion:
    """Return the opinion of the rule for a band, 'temperate' or 'tropical'. Raises KeyError for any other."""
    at = THRESHOLDS[band]
    cold = _side(low_c, (at.never_below_f, at.counter_below_f, at.heat_pack_below_f), below=True)
    warm = _side(high_c, (at.never_above_f, at.counter_above_f, at.cool_pack_above_f), below=False)
    word = max(cold, warm, key=STRICTNESS.__getitem__)
    return Opinion(word, low_c, high_c, "heat" if STRICTNESS[cold] >= STRICTNESS[warm] else "cool")


def _side(celsius: float, limits_f: tuple[float, float, float], *, below: bool) -> str:
    for word, limit in zip((NO_GO, AT_COUNTER, WITH_PACK), limits_f, strict=True):
        beyond = celsius < to_celsius(limit) if below else celsius > to_celsius(limit)
        if beyond:
            return word
    return GO


def is_harsh(low_c: float, high_c: float) -> bool:
    """Return whether air from `low_c` to `high_c` is too harsh for a doorstep without a pack."""
    return low_c < HARSH_LOW_C or high_c > HARSH_HIGH_C


def comparison_text(word: str, verdict: str, *, to_counter: bool) -> str:
    """Return a sentence that compares the rule with the check's verdict; empty if the check has none."""
    if verdict not in STRICTNESS:
        return ""
    # The rule asked for a counter, so for a box held at one it only asks for the pack.
    rule = STRICTNESS[WITH_PACK if word == AT_COUNTER and to_counter else word]
    check = STRICTNESS[verdict]
    if rule == check:
        return "The check agrees."
    if rule > check:
        return "It is stricter than the check, which knows the box and how long each hour lasts."
    return "It is laxer than the check, which counts the sun, the box and late days."
