"""The data files of forecast and stringbed: read strictly, refused with the key and the remedy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from rules.errors import BookError
from rules.forecast_book import ForecastRemark, load_forecast_book
from rules.physics_book import BOOK_FOLDER
from rules.stringbed_book import StringbedRemark, load_stringbed_book
from rules.tap_book import TapRemark, load_tap_book

LOADERS = {"forecast.yaml": load_forecast_book, "stringbed.yaml": load_stringbed_book, "tap.yaml": load_tap_book}


def _change(content: dict[str, Any], path: str, value: Any) -> None:
    *way, last = path.split("/")
    for key in way:
        content = content[key]
    if value is None:
        del content[last]
    else:
        content[last] = value


@pytest.mark.parametrize("file", LOADERS)
def test_every_number_has_a_unit_and_a_source_that_exists(file: str) -> None:
    """Every number stands beside its source, and no source is listed for nothing."""
    content = yaml.safe_load((BOOK_FOLDER / file).read_text(encoding="utf8"))
    LOADERS[file]()
    cited: set[str] = set()

    def walk(node: Any, place: str) -> None:
        if isinstance(node, dict):
            if "source" in node:
                cited.add(node["source"])
            elif any(isinstance(value, (int, float)) for value in node.values()):
                pytest.fail(f"{place} holds a number without a source")
            for key, child in node.items():
                walk(child, f"{place}/{key}")

    walk({key: value for key, value in content.items() if key != "sources"}, file)
    assert cited == set(content["sources"])


def test_every_remark_has_its_sentence() -> None:
    """No remark without a sentence, none given twice in the same words."""
    for book, remarks in (
        (load_forecast_book(), ForecastRemark),
        (load_stringbed_book(), StringbedRemark),
        (load_tap_book(), TapRemark),
    ):
        assert set(book.remarks) == set(remarks)
        assert len(set(book.remarks.values())) == len(remarks)


@pytest.mark.parametrize(
    ("file", "path", "value", "named"),
    [
        ("forecast.yaml", "figures/drift_percent/value", "much", "figures.drift_percent.value"),
        ("forecast.yaml", "figures/drift_percent/value", True, "figures.drift_percent.value"),
        ("forecast.yaml", "figures/drift_percent/source", "hearsay", "hearsay"),
        ("forecast.yaml", "figures/drift_percent/unit", None, "figures.drift_percent.unit"),
        ("forecast.yaml", "figures/extra", {"value": 1, "unit": "x", "source": "house"}, "figures.extra"),
        ("forecast.yaml", "strings/polyester", None, "polyester"),
        ("forecast.yaml", "strings/silk", {}, "silk"),
        ("forecast.yaml", "strings/polyester/slope/sd", 0, "strings.polyester.slope.sd"),
        ("forecast.yaml", "remarks/no_readings", "Read {nothing}.", "nothing"),
        ("forecast.yaml", "remarks/no_readings", None, "no_readings"),
        ("forecast.yaml", "lines/pounds/percent", [], "lines.pounds.percent"),
        ("stringbed.yaml", "kept/lock_out", None, "lock_out"),
        ("stringbed.yaml", "strings/aramid/density/value", "heavy", "strings.aramid.density.value"),
        ("stringbed.yaml", "misheard/pairs", [[13]], "misheard.pairs"),
        ("stringbed.yaml", "slips/newtons/factor", -1, "slips.newtons.factor"),
        ("stringbed.yaml", "remarks/impossible", "{what} is wrong", "what"),
        ("tap.yaml", "figures/lowest_hz/value", "low", "figures.lowest_hz.value"),
        ("tap.yaml", "remarks/no_tap", None, "no_tap"),
        ("tap.yaml", "remarks/few_taps", "Only {some}.", "some"),
    ],
)
def test_a_wrong_entry_is_refused_by_name(tmp_path: Path, file: str, path: str, value: Any, named: str) -> None:
    """The error names the file and the key."""
    content = yaml.safe_load((BOOK_FOLDER / file).read_text(encoding="utf8"))
    _change(content, path, value)
    (tmp_path / file).write_text(yaml.safe_dump(content), encoding="utf8")
    with pytest.raises(BookError) as caught:
        LOADERS[file](tmp_path)
    assert caught.value.file == file
    assert named in str(caught.value)


@pytest.mark.parametrize("file", LOADERS)
@pytest.mark.parametrize("content", ["", "a: [1", "- 1\n- 2\n", "figures: 1\nfigures: 2\n", "figures: .nan\n"])
def test_a_broken_file_is_refused(tmp_path: Path, file: str, content: str) -> None:
    """Empty, cut off, a list, a key given twice, not a number: an error, not a traceback from inside."""
    (tmp_path / file).write_text(content, encoding="utf8")
    with pytest.raises(BookError):
        LOADERS[file](tmp_path)


def test_the_heat_of_a_car_is_that_of_the_experiment() -> None:
    """Nylon at 60 lb and 115 F lost 3 lb in an hour and 7.5 lb in three (an association's experiment, second-hand)."""
    heat = load_forecast_book().heat
    assert heat.nylon_percent_first_hour.value == 100 * 3 / 60
    assert heat.nylon_percent_three_hours.value == 100 * 7.5 / 60


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    """An empty folder is an error that names the file."""
    with pytest.raises(BookError, match=r"forecast\.yaml"):
        load_forecast_book(tmp_path)


@pytest.mark.parametrize(
    ("days", "words"),
    [(0, "the first day"), (1, "one day"), (13, "13 days"), (14, "2 weeks"), (70, "10 weeks"), (122, "4 months")],
)
def test_lengths_of_time_are_said_as_people_say_them(days: int, words: str) -> None:
    """Days, then weeks, then months."""
    assert load_forecast_book().say_days(days) == words
