"""Pages on which a kit is tried: through hard weather, and measured with loggers or with ice."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from breeder.base.roles import keeper_only
from breeder.base.submit import REFUSED, submit
from breeder.core.thermal.box_fit import CannotFit
from breeder.core.thermal.kit import BadKit
from breeder.shipments import kit_calibration, kit_tests
from breeder.shipments.actions import bench
from breeder.shipments.forms.box_forms import IceForm, LoggerForm
from breeder.shipments.kit_figures import USUAL_CUPS
from breeder.shipments.logger_csv import LoggerRefused, read_logger
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit


def stress_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a kit's course through hard weather."""
    kit = get_object_or_404(Kit, pk=pk)
    try:
        found, fault = kit_tests.run_kit_tests(heat_kit(kit, USUAL_CUPS)), ""
    except BadKit as bad:
        found, fault = [], bad.sentence
    return render(request, "shipments/stress.html", {"kit": kit, "found": found, "fault": fault})


@keeper_only
def measure_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Measure a kit and keep what was found."""
    kit = get_object_or_404(Kit, pk=pk)
    if "keep" in request.POST:
        return _keep(request, kit)
    by_ice = "melted_kg" in request.POST
    fahrenheit = request.household.fahrenheit  # type: ignore[attr-defined]
    sent = request.method == "POST" and not by_ice
    logger = LoggerForm(request.POST, request.FILES) if sent else LoggerForm(initial={"fahrenheit": fahrenheit})
    ice = IceForm(request.POST if by_ice else None, fahrenheit=fahrenheit)
    measured = None
    if request.method == "POST":
        measured = _by_ice(kit, ice) if by_ice else _by_logger(kit, logger)
    shown = {"kit": kit, "logger": logger, "ice": ice, "measured": measured}
    if measured:
        shown["signed"] = measured.signed(kit)
        said = f"{measured.factor:.2f} times what is drawn. {measured.word}"
        messages.info(request, f"{said} The figures are at the top of this page, with the button that keeps them.")
    refused = request.method == "POST" and measured is None
    return render(request, "shipments/measure.html", shown, status=REFUSED if refused else 200)


def _by_logger(kit: Kit, form: LoggerForm) -> kit_calibration.Measured | None:
    if not form.is_valid():
        return None
    given = form.cleaned_data
    try:
        logged = read_logger(given["file"].read(), fahrenheit=given["fahrenheit"])
        return kit_calibration.by_logger(kit, logged, litres=given["litres"])
    except LoggerRefused as refusal:
        form.add_error("file", refusal)
    except (CannotFit, BadKit) as refusal:
        form.add_error(None, str(refusal))
    return None


def _by_ice(kit: Kit, form: IceForm) -> kit_calibration.Measured | None:
    if not form.is_valid():
        return None
    try:
        given = {name: float(value) for name, value in form.cleaned_data.items() if value is not None}
        return kit_calibration.by_ice(kit, **given)
    except (CannotFit, BadKit) as refusal:
        form.add_error(None, str(refusal))
    return None


def _keep(request: HttpRequest, kit: Kit) -> HttpResponse:
    found = kit_calibration.from_signed(kit, request.POST["keep"])
    if found is None:
        messages.error(request, "These figures are over an hour old, or of another kit. Measure it again.")
        return redirect("shipments:measure", kit.pk)
    answer = submit(
        request,
        lambda **how: bench.keep_measured(kit.pk, *found, **how),
        to=reverse("shipments:kit", args=[kit.pk]),
        done=f"{kit} is now checked as it was measured.",
    )
    return answer or redirect("shipments:measure", kit.pk)
