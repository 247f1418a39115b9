"""A kit in hard weather, measured with loggers, and measured with ice."""

from importlib import import_module

import numpy as np
import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import LogRow, Setting
from breeder.core.thermal.kit import HeatPack
from breeder.shipments import kit_calibration, kit_tests, logger_csv
from breeder.shipments.actions.bench import keep_measured, load_example_kits
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit
from tests.core.thermal.test_fit import LITRES, WALL, february, logged

pytestmark = pytest.mark.django_db


@pytest.fixture
def foam() -> Kit:
    load_example_kits(by=None)
    return Kit.objects.get(name="Foam 19 mm")


@pytest.fixture(scope="module")
def run_csv() -> bytes:
    """A file of three loggers over 47 hours, made with scipy from real hours outside and a known box of 0.35 W/K."""
    weather = february()
    hours = np.arange(0, len(weather) - 1, 0.25)
    outside, (air, bottle) = np.interp(hours, np.arange(len(weather)), weather), logged(weather, hours)
    rows = [
        f"2013-02-{4 + int(h) // 24:02d} {int(h) % 24:02d}:{int(h * 60) % 60:02d},{o:.1f},{b:.2f},{a:.2f}"
        for h, o, b, a in zip(hours, outside, bottle, air, strict=True)
    ]
    return "\n".join(["time,outside_c,bottle_c,air_c", *rows]).encode()


def without_air(run_csv: bytes) -> bytes:
    return b"\n".join(row.rpartition(b",")[0] for row in run_csv.splitlines())


def test_hard_weather_is_hard_and_a_pack_makes_heat_worse(foam: Kit) -> None:
    bare, warm = (
        kit_tests.run_kit_tests(heat_kit(foam, 4)),
        kit_tests.run_kit_tests(heat_kit(Kit.objects.get(name="Foam 19 mm, 72 h pack"), 4)),
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


def test_two_loggers_measure_the_kit_and_its_checks_become_sharper(
    foam: Kit, keeper_client: Client, run_csv: bytes
) -> None:
    page = reverse("shipments:measure", args=[foam.pk])
    sent = {"file": SimpleUploadedFile("run.csv", run_csv), "litres": LITRES, "token": form_tokens.new_token()}
    answer = keeper_client.post(page, sent)
    assert answer.status_code == 200, answer.content.decode()[-3000:]
    measured = answer.context["measured"]
    assert measured.conductance_w_k == pytest.approx(WALL, rel=0.05)
    assert 0.05 <= measured.sd_ln < 0.06
    keeper_client.post(page, {"keep": answer.context["signed"], "token": form_tokens.new_token()})
    foam.refresh_from_db()
    assert foam.leak_factor == pytest.approx(measured.factor)
    assert foam.measured_sd_ln == pytest.approx(measured.sd_ln)
    assert heat_kit(foam, 4).measured_sd_ln < 0.2


def test_one_logger_is_said_to_tell_less_than_a_drawing(foam: Kit, keeper_client: Client, run_csv: bytes) -> None:
    sent = {"file": SimpleUploadedFile("run.csv", without_air(run_csv)), "litres": LITRES}
    answer = keeper_client.post(reverse("shipments:measure", args=[foam.pk]), sent)
    assert answer.context["measured"].conductance_w_k == pytest.approx(WALL, rel=0.05)
    assert "a drawing to 20 %" in answer.content.decode()


def test_card_is_not_measured_by_one_logger(foam: Kit, keeper_client: Client, run_csv: bytes) -> None:
    page = reverse("shipments:measure", args=[Kit.objects.get(name="Bare card").pk])
    answer = keeper_client.post(page, {"file": SimpleUploadedFile("run.csv", without_air(run_csv)), "litres": LITRES})
    assert answer.status_code == 422
    assert "Hang a second logger in the air of the box." in answer.content.decode()


def test_the_page_lets_only_the_bottle_into_the_box(foam: Kit, keeper_client: Client) -> None:
    page = keeper_client.get(reverse("shipments:measure", args=[foam.pk])).content.decode()
    assert "Only the bottle goes in the box: no cups, no packs, no filling." in page
    assert "Hang a second logger in the air of the box" in page


def test_ice_measures_the_kit(foam: Kit, keeper_client: Client) -> None:
    """0.3333 kg in 3.706111 h at 25 degC is 0.3333 W/K to the ice: 0.5 W/K of walls before 1 W/K of bag."""
    page = reverse("shipments:measure", args=[foam.pk])
    answer = keeper_client.post(page, {"melted_kg": "0.333333", "hours": "3.706111", "outside_c": "25", "bag_w_k": "1"})
    assert answer.context["measured"].conductance_w_k == pytest.approx(0.5, abs=1e-5)
    assert answer.context["measured"].factor == pytest.approx(0.5 / kit_calibration.drawn_w_k(foam), rel=1e-5)
    assert answer.context["measured"].sd_ln >= 0.2
    usual = keeper_client.post(page, {"melted_kg": "0.333333", "hours": "3.706111", "outside_c": "25", "bag_w_k": ""})
    assert usual.context["measured"].conductance_w_k == answer.context["measured"].conductance_w_k


def test_ice_is_measured_in_the_households_unit(foam: Kit, keeper_client: Client) -> None:
    Setting.objects.update_or_create(pk=1, defaults={"fahrenheit": True})
    page = reverse("shipments:measure", args=[foam.pk])
    assert "Outside, on average, °F" in keeper_client.get(page).content.decode()
    sent = {"melted_kg": "0.333333", "hours": "3.706111", "bag_w_k": "1"}
    answer = keeper_client.post(page, sent | {"outside_c": "77"})
    assert answer.context["measured"].conductance_w_k == pytest.approx(0.5, abs=1e-5)
    answer = keeper_client.post(page, sent | {"outside_c": "25"})
    assert answer.status_code == 422
    assert "If 25 °C was meant, write 77.0." in answer.content.decode()


@pytest.mark.parametrize(
    ("kg", "hours", "refusal"),
    [
        ("20", "0.5", "but the bag alone lets only 1 through"),
        ("0.01", "240", "times as much through as drawn, and 0.2 to 10 times can be"),
    ],
)
def test_ice_that_no_box_would_melt_measures_nothing(
    foam: Kit, keeper_client: Client, kg: str, hours: str, refusal: str
) -> None:
    page = reverse("shipments:measure", args=[foam.pk])
    answer = keeper_client.post(page, {"melted_kg": kg, "hours": hours, "outside_c": "25", "bag_w_k": "1"})
    assert answer.status_code == 422
    assert refusal in answer.content.decode()


@pytest.mark.parametrize(("factor", "sd_ln"), [(0.2, 0.1), (10.0, 0.5)])
def test_the_widest_figures_that_are_kept_can_be_reckoned(foam: Kit, factor: float, sd_ln: float) -> None:
    assert (kit_calibration.LEAST_FACTOR, kit_calibration.MOST_FACTOR) == (0.2, 10.0)
    foam.leak_factor, foam.measured_sd_ln = factor, sd_ln
    assert heat_kit(foam, 4)


def test_kits_measured_by_the_old_fit_go_back_to_their_drawing_and_say_so_once(
    foam: Kit, keeper_client: Client, helper_client: Client
) -> None:
    Kit.objects.filter(pk=foam.pk).update(leak_factor=0.44, measured_sd_ln=0.04)
    Kit.objects.filter(name="Foam 38 mm").update(leak_factor=1.3)  # typed by hand, never measured
    import_module("breeder.migrations.0003_kits_back_to_their_drawing").back_to_the_drawing(apps, None)
    foam.refresh_from_db()
    assert (foam.leak_factor, foam.measured_sd_ln) == (1.0, None)
    assert Kit.objects.get(name="Foam 38 mm").leak_factor == 1.3
    assert LogRow.objects.get(about="Foam 19 mm").sentence.startswith("Foam 19 mm was measured as 0.44 times")
    for page in (reverse("dashboard:page"), reverse("shipments:kits")):
        shown = keeper_client.get(page).content.decode()
        assert "Measure this kit again" in shown
        assert "Foam 38 mm" not in shown.partition("Measure this kit again")[2].partition("I have read it")[0]
        assert "Measure this kit again" not in helper_client.get(page).content.decode()
    keeper_client.post(reverse("shipments:kits"), {"noted": "1", "token": form_tokens.new_token()})
    assert "Measure this kit again" not in keeper_client.get(reverse("shipments:kits")).content.decode()


def test_a_kit_measured_anew_needs_no_notice(foam: Kit) -> None:
    Kit.objects.filter(pk=foam.pk).update(remeasure=True)
    keep_measured(foam.pk, 1.2, 0.05, by=None)
    assert not Kit.objects.get(pk=foam.pk).remeasure


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
    ("content", "refusal"),
    [
        (b"", "The file is empty"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"time,outside,inside\n\x00,1,2", "NUL byte"),
        (b"time,outside\n2026-01-01 10:00,1", "no column 'bottle'"),
        (b"time,outside_c,inside_f\n2026-01-01 10:00,1,2", "one column is in"),
        (b"time,outside,inside\n6:30 PM,1,2", "time '6:30 PM' without its day"),
        (b"time,outside,inside\nteatime,1,2", "Row 2 has the time 'teatime'"),
        (b"time,outside,inside\n2026-01-01 10:00,warm,2", "Row 2 has 'warm'"),
        (b"time,outside,inside\n2026-01-01 10:00,1,120", "no parcel meets"),
        (b"time,outside,inside\n2026-01-01 10:00,1,2\n2026-01-01 10:00,1,2", "repeats the time"),
        (b"time,outside,inside\n2026-01-01 10:00,1", "fewer than the first row"),
        (b"time,outside,inside\n" + b"2026-01-01 10:00,1,2\n" * 20_001, "20000 fit"),
    ],
)
def test_a_wrong_file_gets_a_sentence(content: bytes, refusal: str) -> None:
    with pytest.raises(logger_csv.LoggerRefused) as refused:
        logger_csv.read_logger(content, fahrenheit=False)
    assert refusal.lower() in " ".join(refused.value.messages).lower()


def test_semicolons_decimal_commas_fahrenheit_and_gaps_are_read() -> None:
    content = "\ufefftime;outside_f;inside_f\n4 Feb 2026 17:30;32,0;68,0\n4 Feb 2026 18:00;;66,2\n".encode()
    run = logger_csv.read_logger(content, fahrenheit=False)
    assert run.hours == (0.0, 0.5)
    assert run.bottle_c == pytest.approx((20.0, 19.0))
    assert np.isnan(run.outside_c[1])


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
    assert logger_csv.read_logger(content.encode(), fahrenheit=False).hours == pytest.approx((0, 12, 24))


def test_the_day_of_a_twelve_hour_time_may_have_a_column_of_its_own_and_the_air_another() -> None:
    rows = "2/3/2026,6:00 PM,41,68,60.8\n2/4/2026,12:00 AM,41,66.2,\n2/4/2026,6:00 AM,41,64.4,59\n"
    run = logger_csv.read_logger(f"Date,Time,outside_f,bottle_f,air_f\n{rows}".encode(), fahrenheit=False)
    assert run.hours == (0.0, 6.0, 12.0)
    assert run.bottle_c == pytest.approx((20.0, 19.0, 18.0))
    assert run.air_c is not None
    assert (run.air_c[0], run.air_c[2]) == pytest.approx((16.0, 15.0))
    assert np.isnan(run.air_c[1])
