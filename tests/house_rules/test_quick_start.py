"""What `manage.py check` must not wait for: libraries that only one page or one fit needs are loaded with it."""

import subprocess
import sys

import pytest

CODE = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "breeder.settings"
import django
django.setup()
import breeder.urls
from django.urls import get_resolver
list(get_resolver("breeder.urls").url_patterns)
print("\\n".join(sys.modules))
"""


@pytest.fixture(scope="module")
def loaded() -> set[str]:
    """Return the modules of a fresh process that has read every address of the site."""
    ran = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=True)
    return set(ran.stdout.split())


@pytest.mark.parametrize("library", ["scipy.special", "scipy.linalg", "scipy.optimize", "reportlab", "icalendar"])
def test_the_site_starts_without_what_only_one_page_needs(loaded: set[str], library: str) -> None:
    assert "breeder.shipments.views.box_views" in loaded
    assert library not in loaded
