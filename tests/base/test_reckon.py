"""`reckon` to its contract: exit status, faults on standard error, nothing else on standard output."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command

NEWTON = {
    "network": {"outside_w_k": 0.5, "payload_w_k": 1.5, "air_j_k": 600, "payload_j_k": 2500},
    "ambient": {"hours": [0, 24], "c": [0, 0]},
    "start_c": 20,
    "at_hours": [1, 6],
}


def reckon(*words: str, given: str = "", **surroundings: str) -> subprocess.CompletedProcess[str]:
    command, env = [sys.executable, "manage.py", "reckon", *words], os.environ | surroundings
    return subprocess.run(
        command, cwd=settings.BASE_DIR, input=given, env=env, capture_output=True, text=True, check=False
    )


def test_an_answer_goes_to_standard_output_with_status_0(tmp_path: Path) -> None:
    """Values computed from the two-node equations (no outside source); scipy agrees in tests/heat."""
    file = tmp_path / "question.json"
    file.write_text(json.dumps(NEWTON))
    done = reckon("heat", str(file))
    assert (done.returncode, done.stderr) == (0, "")
    first = json.loads(done.stdout)["at"][0]
    assert first["hour"] == 1
    assert first["air_c"] == pytest.approx(10.074954052, abs=1e-8)
    assert first["payload_c"] == pytest.approx(12.903258409, abs=1e-8)


def test_all_faults_are_named_at_once_with_status_2() -> None:
    asked = NEWTON | {"start_c": True, "colour": 1, "ambient": {"hours": [0, 0], "c": [0, 0]}}
    done = reckon("heat", "-", given=json.dumps(asked))
    assert (done.returncode, done.stdout) == (2, "")
    paths = sorted(row.split(":")[0] for row in done.stderr.splitlines())
    assert "colour" in paths
    assert "start_c" in paths
    assert any(path.startswith("ambient.hours") for path in paths)


@pytest.mark.parametrize(
    ("subject", "given", "said"),
    [
        ("cross", "{}", "not yet answered"),
        ("dragons", "{}", "not a subject"),
        ("count", "[1]", "must be an object"),
        ("count", '{"method": "eye", "from": 1, "from": 2, "to": 3}', "more than once"),
        ("count", '{"method": "hand", "counted": NaN}', "finite"),
        ("count", '{"method": "hand", "counted": 1.5}', "whole"),
        ("reserve", "not json", "not JSON"),
        ("fit", "{}", "bottle: This field is missing"),
    ],
)
def test_bad_input_gets_a_sentence(
    subject: str, given: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "odd.json"
    file.write_text(given)
    with pytest.raises(SystemExit) as ended:
        call_command("reckon", subject, str(file))
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_a_file_that_is_not_there_is_bad_input(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        call_command("reckon", "heat", "nowhere.json")
    assert ended.value.code == 2
    assert "cannot be read" in capsys.readouterr().err


def members(name: str) -> dict[str, Any]:
    return {
        "kit": {"network": NEWTON["network"]},
        "start_c": 20,
        "limits": {"low_c": 7, "high_c": 29, "hard_low_c": 2, "hard_high_c": 34, "hours_allowed": 2},
        "cases": [{"name": name, "weight": 1, "hours": [0, 1], "members_c": [[5, 6]]}],
    }


def test_half_a_sign_in_a_name_gets_a_sentence() -> None:
    """JSON may write one half of a pair of surrogates (RFC 8259, 8.2); no answer could be written with it."""
    done = reckon("check", given=json.dumps(members("\ud800")))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("cases[0].name: It holds half of a sign")


def test_an_output_that_shows_few_signs_gets_the_others_escaped() -> None:
    done = reckon("check", given=json.dumps(members("Düne")), PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert "D\\u00fcne" in done.stdout
    assert list(json.loads(done.stdout)["missing_by_case"]) == ["Düne"]
