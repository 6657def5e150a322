"""`decide` from the shell: the stable contract for other programs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rules.rulebook import BOOK_FOLDER
from tests.assistant.command import TODAY, lines, run

FUN = {
    "level": "recreational",
    "plays_per_week": 3,
    "mains_material": "synthetic_gut",
    "crosses_material": "same_as_mains",
    "strung_on": "2026-08-31",
}
KEYS = [
    "verdict",
    "interval",
    "every",
    "restring_by",
    "window",
    "loss_percent",
    "energy_percent",
    "approximate",
    "needs",
    "strengthens",
    "cautions",
    "trail",
    "rulebook",
]


def test_one_object_gives_one_decision() -> None:
    """Three plays a week with synthetic gut is every four months; 31 August + 4 months is 31 December."""
    done = run("decide", "--today", TODAY, given=json.dumps(FUN, indent=2))
    (decision,) = lines(done)
    assert done.returncode == 0
    assert list(decision) == KEYS
    assert decision["interval"] == {"months": 4}
    assert decision["restring_by"] == "2026-12-31"
    assert decision["verdict"] == "play_on"
    assert [step["row"] for step in decision["trail"]][:2] == ["bed-synthetic-gut", "fun-synthetic-gut"]


def test_a_bad_line_answers_with_its_error_and_the_rest_go_on() -> None:
    """JSON lines are answered one for one, in order."""
    given = "\n".join([json.dumps(FUN), '{"level": "casual"}', "no json", "[1]", json.dumps(FUN)])
    done = run("decide", "--today", TODAY, given=given)
    first, level, junk, array, last = lines(done)
    assert done.returncode == 0
    assert first == last
    assert level["error"]["fact"] == "level"
    assert "recreational" in level["error"]["message"]
    assert junk["error"]["fact"] == "facts"
    assert array["error"]["fact"] == "facts"


@pytest.mark.parametrize(
    ("given", "fact"),
    [
        ('{"levle": "competitive"}', "levle"),
        ('{"strung_on": "2026-02-30"}', "strung_on"),
        ('{"strung_on": "2026-11-25"}', "strung_on"),
        ('{"mains_tension": {"value": 300, "unit": "lb"}}', "mains_tension"),
        ('{"plays_per_week": 40}', "plays_per_week"),
        ('{"plays_per_week": -1}', "plays_per_week"),
        ('{"plays_per_week": NaN}', "plays_per_week"),
        ('{"plays_per_week": 1e999}', "plays_per_week"),
        ('{"plays_per_week": true}', "plays_per_week"),
        ('{"reading": {"value": -12, "kind": "deflection"}}', "reading"),
        ("", "facts"),
        ("\n\n", "facts"),
        ("{", "facts"),
        ("[" * 100_000, "facts"),
        ('{"plays_per_week": ' + "9" * 5000 + "}", "facts"),
    ],
)
def test_refused_input_is_one_line_with_fact_and_message(given: str, fact: str) -> None:
    """Exit code 2, one JSON line, no traceback."""
    done = run("decide", "--today", TODAY, given=given)
    (answer,) = lines(done)
    assert done.returncode == 2
    assert answer["error"]["fact"] == fact
    assert answer["error"]["message"]
    assert "Traceback" not in done.stderr


def test_broken_utf8_is_named() -> None:
    """Bytes that are no UTF-8 are refused with the place."""
    done = run("decide", given=b'{"level": "\xff\xfe"}')
    assert done.returncode == 2
    assert "UTF-8" in lines(done)[0]["error"]["message"]


def test_a_megabyte_of_text_is_refused_shortly() -> None:
    """The error does not carry the megabyte back."""
    done = run("decide", given=json.dumps({"level": "x" * 1_000_000}))
    assert done.returncode == 2
    assert len(done.stdout) < 500


def test_a_broken_rulebook_names_file_and_row(tmp_path: Path) -> None:
    """A shop's own book with a fault is refused with file, row and remedy."""
    for file in BOOK_FOLDER.glob("*.yaml"):
        text = file.read_text(encoding="utf-8")
        if file.name == "interval.yaml":
            text = text.replace("ceiling: short_lived_ceiling_months", "ceiling: shortlived", 1)
        (tmp_path / file.name).write_text(text, encoding="utf-8")
    done = run("decide", "--book", str(tmp_path), given="{}")
    assert done.returncode == 2
    assert "interval.yaml: fun-polyester" in done.stderr
    assert "shortlived" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_wrong_day_is_explained() -> None:
    """--today takes an ISO day only."""
    done = run("decide", "--today", "tomorrow", given="{}")
    assert done.returncode == 2
    assert "2026-11-24" in done.stderr
