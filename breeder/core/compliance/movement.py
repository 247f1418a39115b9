"""Decide from the keeper's rules and permits whether an animal may go to a place, and write why.

Of one authority's rules about an animal and its movement, the most specific counts: one that is at least as narrow as
another in taxon, origin and destination, and narrower in one of them. If neither is narrower, the stricter counts. The
rules of several authorities all count. A rule that the keeper has not looked up never decides; it only raises a
question.
"""

from collections.abc import Iterable, Sequence

from breeder.core.compliance import regions
from breeder.core.compliance.facts import (
    NOTHING,
    Animal,
    Direction,
    Effect,
    HeldPermit,
    Movement,
    Rule,
    RulebookAnswer,
    recorded_day_text,
)

# From the strictest to the mildest.
STRICTNESS = tuple(Effect)
EFFECT_TEXT = {
    Effect.FORBIDDEN: "forbidden",
    Effect.PERMIT: "allowed only under a permit",
    Effect.CONDITIONS: "allowed with conditions",
    Effect.ALLOWED: "allowed",
}
PERMITS_SHOWN = 2


def movement_answer(
    animal: Animal, way: Movement, rules: Sequence[Rule], permits: Sequence[HeldPermit]
) -> RulebookAnswer:
    """Return what the rulebook says about an animal and its movement."""
    speaking = [rule for rule in rules if applies(rule, animal, way)]
    verified = deciding_rules([rule for rule in speaking if rule.verified], animal)
    answer = NOTHING
    for rule in verified:
        answer += _rule_answer(rule, animal, way, permits)
    if not verified:
        answer += RulebookAnswer(questions=(_nothing(animal, way),))
    if answer.blocks:
        return answer
    return answer + RulebookAnswer(questions=(*_examples(speaking, animal, way), *_unclear(animal, way, rules)))


def applies(rule: Rule, animal: Animal, way: Movement) -> bool:
    """Return whether a rule is about this animal and this movement."""
    place = animal.steps_to(rule.taxon)
    if place is None or not (
        regions.covers(rule.origin, way.origin) and regions.covers(rule.destination, way.destination)
    ):
        return False
    if rule.across_only and way.stays_in_state:
        return False
    # A rule that allows a species never allows an animal that only resembles it.
    return animal.determined or place > 0 or rule.effect in (Effect.FORBIDDEN, Effect.PERMIT)


def is_narrower(rule: Rule, other: Rule, animal: Animal) -> bool:
    """Return whether a rule is at least as narrow as another in everything, and narrower in something."""
    return _beats(_narrowness(rule, animal), _narrowness(other, animal))


def _beats(narrowness: tuple[int, int, int], other: tuple[int, int, int]) -> bool:
    return narrowness != other and all(mine >= theirs for mine, theirs in zip(narrowness, other, strict=True))


def _narrowness(rule: Rule, animal: Animal) -> tuple[int, int, int]:
    return (
        -(animal.steps_to(rule.taxon) or 0),
        regions.depth(rule.origin),
        regions.depth(rule.destination),
    )


def deciding_rules(rules: Sequence[Rule], animal: Animal) -> list[Rule]:
    """Return the rule of each authority that counts: the most specific, or the stricter of equals."""
    by_authority: dict[str, list[Rule]] = {}
    for rule in rules:
        by_authority.setdefault(rule.authority.strip().lower(), []).append(rule)
    strictest_rules = []
    for authority_rules in by_authority.values():
        # Of equally narrow rules only the strictest matters.
        strictest: dict[tuple[int, int, int], Rule] = {}
        for rule in authority_rules:
            kept = strictest.setdefault(_narrowness(rule, animal), rule)
            if _mildness(rule) < _mildness(kept):
                strictest[_narrowness(rule, animal)] = rule
        left = [rule for at, rule in strictest.items() if not any(_beats(other, at) for other in strictest)]
        strictest_rules.append(min(left, key=_mildness))
    return sorted(strictest_rules, key=_mildness)


def _mildness(rule: Rule) -> int:
    return STRICTNESS.index(Effect(rule.effect))


def _rule_answer(rule: Rule, animal: Animal, way: Movement, permits: Sequence[HeldPermit]) -> RulebookAnswer:
    """Return the answer of one rule that counts."""
    going = f"{animal.name} into {regions.region_name(way.destination)}"
    old = f" It was due to be looked up again by {recorded_day_text(rule.recheck_on)}." if rule.is_stale(way.on) else ""
    listed = "" if rule.taxon else " (your rule for everything not listed)"
    if rule.effect == Effect.FORBIDDEN:
        return RulebookAnswer(blocks=(f"{going} is forbidden{listed}: {rule.source_text}.{old}",))
    if rule.effect == Effect.PERMIT:
        return _under_permit(rule, animal, way, permits, f"{going} is allowed only under a permit{listed}", old)
    terms = f" Conditions: {_ended(rule.conditions)}" if rule.conditions else ""
    sentence = f"{going} is {EFFECT_TEXT[Effect(rule.effect)]}{listed}: {rule.source_text}.{terms}"
    if old:
        return RulebookAnswer(questions=(f"{sentence}{old} Look it up, and write the new date down.",))
    return RulebookAnswer(notes=(sentence,))


def _under_permit(
    rule: Rule, animal: Animal, way: Movement, permits: Sequence[HeldPermit], going: str, old: str
) -> RulebookAnswer:
    kind = f" ({rule.permit_kind})" if rule.permit_kind else ""
    near = []
    for permit in permits:
        if rule.permit_kind and permit.kind.strip().lower() != rule.permit_kind.strip().lower():
            continue
        if way.person_id is None and permit.person_id is not None:
            continue  # asked without an order, so permits of other people do not matter
        lacks = permit_objection(permit, animal, way)
        if not lacks:
            terms = f" Conditions: {_ended(permit.conditions)}" if permit.conditions else ""
            until = recorded_day_text(permit.valid_until)
            note = f"{going}{kind}, and {permit.called} counts until {until}: {rule.source_text}.{terms}"
            asked = (f"{rule.source_text}:{old} Look it up, and write the new date down.",) if old else ()
            return RulebookAnswer(questions=asked, notes=(note,), permits=(permit,))
        near.append(f"{permit.called} {lacks}")
    why = f" {_ended('; '.join(near[:PERMITS_SHOWN]))}" if near else " None is in the book."
    return RulebookAnswer(blocks=(f"{going}{kind}, and no permit counts: {rule.source_text}.{why}{old}",))


def permit_objection(permit: HeldPermit, animal: Animal, way: Movement) -> str:
    """Return why a permit does not cover an animal on a movement; empty if it does."""
    places = [place for taxon in permit.taxa if (place := animal.steps_to(taxon)) is not None]
    if not places or (not animal.determined and max(places) == 0):
        return f"does not name {animal.name}"
    if permit.person_id is None and permit.direction == Direction.RECEIVE:
        return "is yours to receive, not to send"
    if permit.person_id is not None and permit.direction == Direction.SEND:
        return "is the customer's to send, not to receive"
    if permit.person_id not in (None, way.person_id):
        return "is held by someone else"
    if not _within(permit.origins, way.origin):
        return f"does not cover sending from {regions.region_name(way.origin) if way.origin else 'an unknown place'}"
    if not _within(permit.destinations, way.destination):
        return f"does not cover {regions.region_name(way.destination)}"
    if way.on < permit.valid_from:
        return f"counts only from {recorded_day_text(permit.valid_from)}"
    return f"ran out on {recorded_day_text(permit.valid_until)}" if way.on > permit.valid_until else ""


def _within(codes: Sequence[str], code: str) -> bool:
    return not codes or any(regions.covers(wider, code) for wider in codes)


def _nothing(animal: Animal, way: Movement) -> str:
    return f"Nothing is on record for {animal.name} into {regions.region_name(way.destination)}."


def _examples(speaking: Iterable[Rule], animal: Animal, way: Movement) -> list[str]:
    """Return what unverified rules would say, unless a verified rule is at least as narrow."""
    rules = list(speaking)
    verified = [rule for rule in rules if rule.verified]
    examples = deciding_rules([rule for rule in rules if not rule.verified], animal)
    return [
        f"An unverified example says that {rule.taxon or 'anything not listed'} into "
        f"{regions.region_name(rule.destination)} is {EFFECT_TEXT[Effect(rule.effect)]}: {rule.source_text}."
        for rule in examples
        if not any(
            is_narrower(each, rule, animal) or _narrowness(each, animal) == _narrowness(rule, animal)
            for each in verified
        )
    ]


def _unclear(animal: Animal, way: Movement, rules: Sequence[Rule]) -> list[str]:
    """Return what could not be decided because a place or the species is not known well enough."""
    speaks = [rule for rule in rules if rule.verified and animal.steps_to(rule.taxon) is not None]
    sentences = []
    if not way.origin and any(rule.origin or rule.across_only for rule in speaks):
        sentences.append("It is not known where you ship from. Write your own state or country in the settings.")
    if not regions.is_state(way.destination) and any(
        regions.is_state(rule.destination) and regions.covers(way.destination, rule.destination) for rule in speaks
    ):
        sentences.append(
            f"The address names no state of {regions.region_name(way.destination)}, so the rules of its states were "
            "not checked. Add the state to the address."
        )
    if not animal.determined:
        sentences += _resembles(animal, way, rules)
    return sentences


def _resembles(animal: Animal, way: Movement, rules: Sequence[Rule]) -> list[str]:
    genus = animal.lineage[0].split(" ")[0].lower() if animal.lineage else ""
    near = {
        rule.taxon
        for rule in rules
        if rule.verified
        and rule.effect in (Effect.FORBIDDEN, Effect.PERMIT)
        and rule.taxon.lower().startswith(f"{genus} ")
        and animal.steps_to(rule.taxon) is None
        and regions.covers(rule.destination, way.destination)
    }
    if not genus or not near:
        return []
    return [f"{animal.name} is not determined, and the rule for {', '.join(sorted(near))} may be about it."]


def _ended(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."
