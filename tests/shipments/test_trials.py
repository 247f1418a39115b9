"""A kit through hard weather, measured with a logger, measured with ice."""

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import Setting
from breeder.core.thermal.kit import HeatPack
from breeder.shipments import kit_calibration, kit_tests, logger_csv
from breeder.shipments.actions.bench import load_example_kits
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit
from tests.core.thermal.test_fit import BOTTLE_KG, february, logged

pytestmark = pytest.mark.django_db


@pytest.fixture
def foam() -> Kit:
    load_example_kits(by=None)
    return Kit.objects.get(name="Foam 19 mm")


@pytest.fixture(scope="module")
def run_csv() -> bytes:
    """A logger's file of 47 hours, made with scipy from real hours outside and a known box of 0.45 W/K."""
    weather = february()
    hours = np.arange(0, len(weather) - 1, 0.25)
    outside, inside = np.interp(hours, np.arange(len(weather)), weather), logged(weather, hours)
    rows = [
        f"2013-02-04 {int(h) // 24:02d}".replace("2013-02-04 00", "2013-02-04").replace("2013-02-04 01", "2013-02-05")
        + f" {int(h) % 24:02d}:{int(h * 60) % 60:02d},{o:.1f},{i:.2f}"
        for h, o, i in zip(hours, outside, inside, strict=True)
    ]
    return "\n".join(["time,outside_c,inside_c", *rows]).encode()


def test_hard_weather_is_hard_and_a_pack_makes_heat_worse(foam: Kit) -> None:
    bare, warm = (
        kit_tests.tests_of(heat_kit(foam, 4)),
        kit_tests.tests_of(heat_kit(Kit.objects.get(name="Foam 19 mm, 72 h pack"), 4)),
    )
    assert isinstance(heat_kit(Kit.objects.get(name="Foam 19 mm, 72 h pack"), 4).packs[0], HeatPack)
    by_name = {test.name: (cold, test) for cold, test in zip(bare, warm, strict=True)}
    july, february_ = by_name["Two days of a real July"], by_name["Two days of a real February"]
    assert july[1].warmest_c > july[0].warmest_c > 29
    assert february_[0].coldest_c < february_[1].coldest_c < 7
    assert by_name["Steady 43 °C"][0].hours_outside > 20


def test_the_pages_open(foam: Kit, keeper_client: Client, helper_client: Client) -> None:
    assert keeper_client.get(reverse("shipments:stress", args=[foam.pk])).status_code == 200
    assert keeper_client.get(reverse("shipments:measure", args=[foam.pk])).status_code == 200
    assert helper_client.get(reverse("shipments:measure", args=[foam.pk])).status_code == 403


def test_a_logger_measures_the_kit_and_its_checks_become_sharper(
    foam: Kit, keeper_client: Client, run_csv: bytes
) -> None:
    page = reverse("shipments:measure", args=[foam.pk])
    sent = {"file": SimpleUploadedFile("run.csv", run_csv), "bottle_kg": BOTTLE_KG, "token": form_tokens.new_token()}
    answer = keeper_client.post(page, sent)
    assert answer.status_code == 200, answer.content.decode()[-3000:]
    found = answer.context["measured"]
    assert found.conductance_w_k == pytest.approx(0.45, rel=0.05)
    keeper_client.post(page, {"keep": answer.context["signed"], "token": form_tokens.new_token()})
    foam.refresh_from_db()
    assert foam.leak_factor == pytest.approx(found.factor)
    assert foam.measured_sd_ln == pytest.approx(found.sd_ln)
    assert heat_kit(foam, 4).measured_sd_ln < 0.2


def test_ice_measures_the_kit(foam: Kit, keeper_client: Client) -> None:
    """0.5 kg in 3.706111 h at 25 degC is 0.5 W/K (latent heat 333.55 kJ/kg)."""
    page = reverse("shipments:measure", args=[foam.pk])
    answer = keeper_client.post(page, {"melted_kg": "0.5", "hours": "3.706111", "outside_c": "25"})
    assert answer.context["measured"].conductance_w_k == pytest.approx(0.5, abs=1e-5)
    assert answer.context["measured"].factor == pytest.approx(0.5 / kit_calibration.drawn_w_k(foam))


def test_ice_is_measured_in_the_households_unit(foam: Kit, keeper_client: Client) -> None:
    Setting.objects.update_or_create(pk=1, defaults={"fahrenheit": True})
    page = reverse("shipments:measure", args=[foam.pk])
    assert "Outside, on average, °F" in keeper_client.get(page).content.decode()
    answer = keeper_client.post(page, {"melted_kg": "0.5", "hours": "3.706111", "outside_c": "77"})
    assert answer.context["measured"].conductance_w_k == pytest.approx(0.5, abs=1e-5)
    answer = keeper_client.post(page, {"melted_kg": "0.5", "hours": "3.706111", "outside_c": "25"})
    assert answer.status_code == 422
    assert "If 25 °C was meant, write 77.0." in answer.content.decode()


@pytest.mark.parametrize(("kg", "hours"), [("20", "0.5"), ("0.01", "240")])
def test_ice_that_no_box_would_melt_measures_nothing(foam: Kit, keeper_client: Client, kg: str, hours: str) -> None:
    page = reverse("shipments:measure", args=[foam.pk])
    answer = keeper_client.post(page, {"melted_kg": kg, "hours": hours, "outside_c": "25"})
    assert answer.status_code == 422
    assert "times as much through as drawn, and 0.2 to 10 times can be" in answer.content.decode()


@pytest.mark.parametrize(("factor", "sd_ln"), [(0.2, 0.1), (10.0, 0.5)])
def test_the_widest_figures_that_are_kept_can_be_reckoned(foam: Kit, factor: float, sd_ln: float) -> None:
    assert (kit_calibration.LEAST_FACTOR, kit_calibration.MOST_FACTOR, kit_calibration.MOST_SD_LN) == (0.2, 10.0, 0.5)
    foam.leak_factor, foam.measured_sd_ln = factor, sd_ln
    assert heat_kit(foam, 4)


def test_figures_of_another_kit_or_made_up_are_not_kept(foam: Kit, keeper_client: Client) -> None:
    other = Kit.objects.exclude(pk=foam.pk).first()
    signed = kit_calibration.Measured(0.5, 0.1, 0.3, "").signed(other)
    for text in (signed, "made up", ""):
        keeper_client.post(
            reverse("shipments:measure", args=[foam.pk]), {"keep": text, "token": form_tokens.new_token()}
        )
    foam.refresh_from_db()
    assert foam.measured_sd_ln is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "The file is empty"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"time,outside,inside\n\x00,1,2", "NUL byte"),
        (b"time,outside\n2026-01-01 10:00,1", "no column 'inside'"),
        (b"time,outside_c,inside_f\n2026-01-01 10:00,1,2", "one column is in"),
        (b"time,outside,inside\nteatime,1,2", "Row 2 has the time 'teatime'"),
        (b"time,outside,inside\n2026-01-01 10:00,warm,2", "Row 2 has 'warm'"),
        (b"time,outside,inside\n2026-01-01 10:00,1,120", "no parcel meets"),
        (b"time,outside,inside\n2026-01-01 10:00,1,2\n2026-01-01 10:00,1,2", "repeats the time"),
        (b"time,outside,inside\n2026-01-01 10:00,1", "fewer than the first row"),
        (b"time,outside,inside\n" + b"2026-01-01 10:00,1,2\n" * 20_001, "20000 fit"),
    ],
)
def test_a_wrong_file_gets_a_sentence(content: bytes, said: str) -> None:
    with pytest.raises(logger_csv.LoggerRefused) as refused:
        logger_csv.read(content, fahrenheit=False)
    assert said.lower() in " ".join(refused.value.messages).lower()


def test_semicolons_decimal_commas_fahrenheit_and_gaps_are_read() -> None:
    content = "\ufefftime;outside_f;inside_f\n4 Feb 2026 17:30;32,0;68,0\n4 Feb 2026 18:00;;66,2\n".encode()
    found = logger_csv.read(content, fahrenheit=False)
    assert found.hours == (0.0, 0.5)
    assert found.inside_c == pytest.approx((20.0, 19.0))
    assert np.isnan(found.outside_c[1])


@pytest.mark.parametrize(
    "times",
    [
        ("12/02/2026 18:00", "13/02/2026 06:00", "13/02/2026 18:00"),  # only the second day tells the order
        ("03/02/2026 18:00", "04/02/2026 06:00", "04/02/2026 18:00"),  # as months they would lie a month apart
        ("02/03/2026 6:00 PM", "02/04/2026 6:00 AM", "02/04/2026 6:00 PM"),
        ("03.02.2026 18:00", "04.02.2026 06:00", "04.02.2026 18:00"),
        ("2026-02-03T18:00", "2026-02-04T06:00", "2026-02-04T18:00"),
        ("2026-03-28T18:00+01:00", "2026-03-29T07:00+02:00", "2026-03-29T19:00+02:00"),
        ("1770141600", "1770184800", "1770228000"),
        ("1770141600000", "1770184800000", "1770228000000"),
        ("46056.75", "46057.25", "46057.75"),
        ("3 Feb 2026 18:00", "4 Feb 2026 06:00", "4 Feb 2026 18:00"),
    ],
)
def test_any_common_way_to_write_times_gives_the_same_hours(times: tuple[str, ...]) -> None:
    content = "time,outside,inside\n" + "".join(f"{at},5,20\n" for at in times)
    assert logger_csv.read(content.encode(), fahrenheit=False).hours == pytest.approx((0, 12, 24))
