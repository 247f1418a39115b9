"""The alarm names an unusual sex ratio with its numbers, and only when chance does not explain it."""

import pytest
from scipy import stats

from breeder.core.reserve.sex_ratio import SexedSample, sex_ratio_text


@pytest.mark.parametrize(
    ("females", "males", "share", "out"),
    [
        (14, 6, 0.5, False),  # exact p .115: twenty are too few for 70 %
        (28, 12, 0.5, True),  # exact p .017: forty are enough
        (46, 57, 0.5, False),  # chi-square .79 against 1:1
        (28, 12, 0.7, False),  # usual in Porcellionides pruinosus
        (20, 20, 0.7, True),
        (0, 12, 0.5, True),
    ],
)
def test_only_what_chance_does_not_explain_is_an_alarm(females: int, males: int, share: float, out: bool) -> None:
    """Computed (no outside source); the exact binomial test says the same of each."""
    assert bool(sex_ratio_text(SexedSample(males, females), share, 20)) is out
    assert bool(stats.binomtest(females, females + males, share).pvalue < 0.05) is out


def test_the_edge_is_wilsons_interval() -> None:
    """The score test: z² = (f − n·s)²/(n·s·(1 − s)) over 3.84. With 100 sexed 59 pass (3.24), 60 do not (4.0)."""
    assert sex_ratio_text(SexedSample(41, 59), 0.5, 20) == ()
    assert sex_ratio_text(SexedSample(40, 60), 0.5, 20)
    assert sex_ratio_text(SexedSample(59, 41), 0.5, 20) == ()
    assert sex_ratio_text(SexedSample(60, 40), 0.5, 20)


def test_the_alarm_gives_the_numbers_their_worth_and_what_to_do() -> None:
    """23 of 60 is .2709 to .5098 (Wilson 1927); so 37 of 60 is .4902 to .7291. 4·20·s(1 − s): 12.8 at .8, 20 at .5."""
    assert sex_ratio_text(SexedSample(12, 48), 0.5, 20) == (
        "Too many females: 48 of 60 adults sexed (80%; 68% to 88% of all, 95% sure), and 50% is usual.",
        "At such a share the 20 adults that stay are worth 12.8 for breeding instead of 20.0.",
        "Keep the males, and sex the young of one mother when they are grown: bacteria that turn sons into daughters "
        "leave 70% to 80% females. If it stays so, write the share on the species’ page.",
    )
    few = sex_ratio_text(SexedSample(37, 23), 0.7, 20)
    assert few[0].startswith("Too few females: 23 of 60 adults sexed (38%; 27% to 51% of all")
    assert few[2].startswith("Keep the females and sex more adults")


def test_animals_taken_by_sex_are_the_first_explanation() -> None:
    sentences = sex_ratio_text(SexedSample(12, 48, taken_by_sex=True), 0.5, 20)
    assert sentences[2].startswith("Animals were taken out by sex before, which may be why. Keep the males")


def test_there_is_no_alarm_when_fewer_than_five_of_the_rarer_sex_are_expected() -> None:
    assert sex_ratio_text(SexedSample(0, 9), 0.5, 20) == ()
    assert sex_ratio_text(SexedSample(0, 10), 0.5, 20)
    assert sex_ratio_text(SexedSample(24, 0), 0.8, 20) == ()
    assert sex_ratio_text(SexedSample(25, 0), 0.8, 20)


def test_there_is_no_alarm_without_sexed_animals_or_two_sexes() -> None:
    assert sex_ratio_text(SexedSample(0, 0), 0.5, 20) == ()
    assert sex_ratio_text(SexedSample(0, 90), 0.5, 20, reproduction="clonal") == ()
