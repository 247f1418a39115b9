"""What every test of a check shares."""

import pytest

SEED = 20130401


@pytest.fixture(autouse=True)
def _same_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw the same members for every box: numbers and keys differ with the order in which tests are run."""
    monkeypatch.setattr("breeder.shipments.rules.departure_rules.draw_seed", lambda *_: SEED)
