"""The counter's commands: JSON on demand, one exit code a kind of trouble, a sentence and never a traceback."""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest

from assistant.cli import COMMANDS, build_parser
from tests.assistant.command import ROOT
from tests.assistant.in_process import MAYA, Shell

RACQUET = ("--frame", "sound", "--mains", "synthetic_gut", "--tension", "54")


def test_every_command_answers_in_one_json_object(shell: Shell, tag: str, tmp_path: Path) -> None:
    """With --json there is one line on standard output, and it is JSON."""
    for words in (
        ("customer", "find", "maya"),
        ("customer", "change", "maya", "--hours", "1-2"),
        ("customer", "forget", "maya", "--phone"),
        ("job", "list"),
        ("job", "history", tag),
        ("job", "redate", tag),
        ("job", "ready", tag),
        ("job", "back", tag),
        ("reading", tag, "37", "--check", "--kind", "stiffness"),
        ("label", tag, "--out", str(tmp_path / "label.pdf")),
        ("pickup", "maya"),
        ("due", "--days", "365"),
        ("league", "add", "Hollow Winter League", "--season", "2026-10-01"),
        ("league", "list"),
        ("league", "plan", "Hollow Winter League"),
        ("remind", "draft"),
        ("remind", "list"),
        ("backup", str(tmp_path / "backups")),
        ("staff", "list"),
        ("export", "maya", "--out", str(tmp_path / "maya.json")),
        ("job", "collect", tag),
        ("job", "undo"),
        ("job", "cancel", tag),
        ("erase", "maya", "--yes"),
    ):
        ran = shell(*words, "--json")
        assert ran.code == 0, (words, ran)
        assert isinstance(ran.json, dict)
        assert ran.err == ""


def test_a_baseline_that_cannot_be_right_needs_a_second_look(shell: Shell) -> None:
    """Swapped digits are named and nothing is kept; the right figure is, and so is the odd one with --sure."""
    words = ("job", "add", *MAYA, *RACQUET, "--head", "100", "--pattern", "16x19", "--json")
    tag = str(shell(*words).json["job"]["tag"])
    assert shell("job", "strung", tag, "--machine", "constant_pull").code == 0
    odd = shell("reading", tag, "83", "--baseline", "--kind", "stiffness")
    assert odd.code == 2
    assert "A baseline of 83 cannot be right here" in odd.err
    assert "Were two digits swapped? 38 would fit." in odd.err
    assert "--sure" in odd.err
    told = shell("reading", tag, "83", "--baseline", "--kind", "stiffness", "--json").json["error"]
    assert (told["reason"], told["fact"], told["values"]["meant"]) == ("baseline_doubtful", "sure", [38.0])
    assert shell("job", "list", "--json").json["rows"][0]["readings"] == 0
    for figure, kind in (("35", "stiffness"), ("62", "deflection"), ("83", "stiffness")):
        sure = ("--sure",) if figure == "83" else ()
        assert shell("reading", tag, figure, "--baseline", "--kind", kind, *sure).code == 0
    assert shell("job", "list", "--json").json["rows"][0]["readings"] == 3
    assert shell("reading", tag, "83", "--check", "--kind", "stiffness").code == 0


@pytest.mark.usefixtures("tag")
def test_a_number_goes_off_the_card_and_nothing_else(shell: Shell) -> None:
    """What was named is empty afterwards; what is not there, or not named, is refused in a sentence."""
    assert "Say what is to go off the card: --phone, --email, or both." in shell("customer", "forget", "maya").err
    missing = shell("customer", "forget", "maya", "--email")
    assert (missing.code, "The card of Maya Okoro holds nothing of that" in missing.err) == (2, True)
    kept = shell("customer", "forget", "maya", "--phone", "--json").json["customer"]
    assert (kept["phone"], kept["level"]) == (None, "recreational")


REFUSED: list[tuple[int, tuple[str, ...], str]] = [
    (3, ("customer", "forget", "nobody known", "--phone"), "No customer is stored"),
    (2, ("job", "add", *MAYA, *RACQUET, "--promised", "2026-05-01"), "promise a day from today on"),
    (2, ("job", "add", *RACQUET), "Whose racquet is it?"),
    (2, ("job", "add", *MAYA, "--frame", "sound"), "Which strings?"),
    (2, ("job", "add", *MAYA, "--frame", "sound", "--mains", "Moon Rope"), "Moon Rope is not in the catalogue"),
    (3, ("job", "add", "--customer", "Nobody Inparticular", *RACQUET), "Nobody Inparticular"),
    (3, ("job", "strung", "ZZZZZZ"), "ZZZZZZ"),
    (3, ("job", "collect", "ZZZZZZ"), "ZZZZZZ"),
    (3, ("reading", "ZZZZZZ", "38", "--check"), "ZZZZZZ"),
    (3, ("label", "ZZZZZZ"), "ZZZZZZ"),
    (2, ("label",), "Name at least one tag"),
    (2, ("due", "--days", "-1"), "0 to 3660"),
    (3, ("due", "--league", "Moon League"), "Moon League"),
    (3, ("league", "plan", "Moon League"), "Moon League"),
    (3, ("pickup", "Nobody Inparticular"), "Nobody Inparticular"),
    (3, ("erase", "Nobody Inparticular"), "Nobody Inparticular"),
    (3, ("export", "#99"), "99"),
    (3, ("remind", "settle", "99", "--sent"), "99"),
    (3, ("job", "undo"), "anna"),
    (3, ("import", "customers", "/no/such/file.csv"), "is not there"),
    (3, ("staff", "retire", "Nobody"), "Nobody"),
]


@pytest.mark.parametrize(("code", "words", "part"), REFUSED)
def test_trouble_is_a_sentence_and_a_code(shell: Shell, code: int, words: tuple[str, ...], part: str) -> None:
    """Refused is 2 and not found is 3, with the same sentence in words and as JSON."""
    plain = shell(*words, "--who", "anna")
    assert plain.code == code, plain
    assert part in plain.err
    assert "Traceback" not in plain.err
    if words[0] != "import":
        spoken = shell(*words, "--who", "anna", "--json")
        assert spoken.code == code
        assert part in spoken.json["error"]["message"]
        assert set(spoken.json["error"]) >= {"fact", "value", "message"}


WRONG = [
    ("job", "add", *MAYA, "--frame", "sound", "--mains", "polyester", "--tension", "hard"),
    ("job", "add", *MAYA, *RACQUET, "--pattern", "16"),
    ("job", "add", *MAYA, *RACQUET, "--printed", "soft"),
    ("job", "add", *MAYA, *RACQUET, "--promised", "tomorrow"),
    ("job", "add", "--name", "x", "--plays", "often", *RACQUET),
    ("job",),
    ("reading", "TAG"),
    ("reading", "TAG", "much", "--check"),
    ("league", "plan", "x", "--closed", "someday"),
    ("remind", "send", "--at", "noon"),
    ("remind", "send", "--quiet", "at night"),
]


@pytest.mark.parametrize("words", WRONG)
def test_words_no_command_understands_are_refused_with_how_to_write_them(shell: Shell, words: tuple[str, ...]) -> None:
    """Exit code 2, as for every refused input."""
    ran = shell(*words)
    assert ran.code == 2
    assert "usage:" in ran.err


def test_a_database_that_cannot_be_used_is_code_four(shell: Shell, tmp_path: Path) -> None:
    """A missing folder, a damaged file, another program's file: a sentence each, in words and as JSON."""
    damaged, foreign = tmp_path / "damaged.sqlite3", tmp_path / "foreign.sqlite3"
    damaged.write_bytes(b"no database at all" * 100)
    with sqlite3.connect(foreign) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    for url in (f"sqlite:///{tmp_path}/none/shop.sqlite3", f"sqlite:///{damaged}", f"sqlite:///{foreign}", "nonsense"):
        for words in (("due",), ("job", "list"), ("customer", "find", "maya"), ("backup", str(tmp_path / "b"))):
            ran = shell(*words, "--db", url, "--json")
            assert ran.code == 4, (url, ran)
            assert ran.json["error"]["message"]
            assert "Traceback" not in ran.err


def test_the_options_of_every_command_may_stand_after_its_action(shell: Shell, tmp_path: Path) -> None:
    """--today, --db, --who and --region count wherever they stand."""
    url = f"sqlite:///{tmp_path / 'other.sqlite3'}"
    taken = shell(
        "customer", "--db", url, "add", "--name", "Bo", "--phone", "020 7946 0958", "--region", "GB", "--json"
    )
    assert taken.json["customer"]["phone"] == "+442079460958"
    assert len(shell("customer", "find", "Bo", "--db", url, "--json").json["hits"]) == 1
    assert shell("customer", "find", "Bo").code == 3


def test_what_one_person_did_another_cannot_undo(shell: Shell, tag: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """--who, or COUNTERPULL_WHO, names the person."""
    assert shell("job", "collect", tag, "--who", "ben").code == 0
    assert shell("job", "undo", "--who", "carla").code == 3
    monkeypatch.setenv("COUNTERPULL_WHO", "ben")
    assert shell("job", "undo").code == 0
    history = shell("job", "history", tag, "--json").json
    assert history["history"]["jobs"][0]["job"]["status"] == "strung"
    assert [entry["who"] for entry in history["trail"]][-2:] == ["ben", "ben"]


def test_several_people_of_a_name_are_asked_about(shell: Shell) -> None:
    """The answer gives the numbers by which to say which."""
    for phone in ("202 555 0190", "202 555 0128"):
        assert shell("job", "add", "--name", "Sam Brandt", "--phone", phone, *RACQUET).code == 0
    for words in (("pickup", "sam brandt"), ("erase", "sam brandt", "--yes"), ("export", "sam brandt")):
        ran = shell(*words)
        assert ran.code == 2
        assert "#1 Sam Brandt +12025550190, #2 Sam Brandt +12025550128" in ran.err
    back = shell("job", "back", "sam brandt")
    assert back.code == 2
    assert "say which by the number" in back.out
    assert shell("erase", "#2", "--yes").code == 0
    assert shell("pickup", "sam brandt").code == 2


def test_labels_go_to_a_file_or_to_standard_output(shell: Shell, tag: str, tmp_path: Path) -> None:
    """Any size, several copies, a whole sheet; what does not fit leaves no file behind."""
    out = tmp_path / "labels.pdf"
    for words, pages in (
        (("--size", "90x38"), 1),
        (("--copies", "3"), 3),
        (("--sheet", "a4", "--copies", "31"), 2),
        (("--sheet", "100x60", "--size", "40x20", "--margin", "1", "--gap", "0"), 1),
    ):
        assert shell("label", tag, "--out", str(out), *words).code == 0
        assert len(pypdf.PdfReader(out).pages) == pages
    assert oct(out.stat().st_mode & 0o777) == "0o600"
    out.unlink()
    for words in (("--size", "12x8"), ("--size", "big"), ("--sheet", "napkin"), ("--font", str(tmp_path / "no.ttf"))):
        ran = shell("label", tag, "--out", str(out), *words)
        assert (ran.code, out.exists()) == (2, False)
        assert ran.err.startswith("counterpull: ")
    assert shell("label", "--bench", "--out", str(out)).code == 0
    assert tag in pypdf.PdfReader(out).pages[0].extract_text()
    assert shell("label", tag, "--out", str(tmp_path / "none" / "x.pdf")).code == 2


def test_labels_to_standard_output_are_the_file(tag: str, tmp_path: Path) -> None:
    """Ready for a pipe to the printer."""
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "label", tag, "--out", "-"],
        capture_output=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "COUNTERPULL_DB": f"sqlite:///{tmp_path / 'shop.sqlite3'}"},
        timeout=120,
    )
    assert tag in pypdf.PdfReader(io.BytesIO(done.stdout)).pages[0].extract_text()


def test_the_due_list_as_csv_is_safe_in_a_spreadsheet(shell: Shell) -> None:
    """A name that would be a formula, and a number that begins with plus, are text."""
    name = "=HYPERLINK(0)"
    taken = shell("job", "add", "--name", name, *MAYA[2:], *RACQUET, "--json").json
    assert shell("job", "strung", taken["job"]["tag"]).code == 0
    ran = shell("due", "--csv", "-", today="2026-09-10")
    (row,) = csv.DictReader(io.StringIO(ran.out))
    assert (row["customer"], row["phone"], row["days_left"]) == (f"'{name}", "'+12025550143", "-6")


def test_reminders_without_a_mail_server_can_be_passed_on_by_hand(shell: Shell, tag: str) -> None:
    """They are drafted, listed as CSV, and settled by a person."""
    assert shell("customer", "change", "maya", "--consent").code == 0
    assert shell("job", "collect", tag).code == 0
    assert "1 reminder drafted." in shell("remind", "draft", today="2026-09-01").out
    (row,) = csv.DictReader(io.StringIO(shell("remind", "list", "--csv", "-", today="2026-09-01").out))
    assert (row["state"], row["phone"], row["tag"]) == ("draft", "'+12025550143", tag)
    refused = shell("remind", "send", today="2026-09-01")
    assert (refused.code, "COUNTERPULL_SMTP" in refused.err) == (2, True)
    assert shell("remind", "settle", row["id"], "--sent", today="2026-09-01").out == "Reminder 1: sent.\n"
    assert shell("remind", "settle", row["id"], "--sent", today="2026-09-01").code == 2


def test_a_list_is_taken_over_with_a_report_of_every_refused_line(shell: Shell, tmp_path: Path) -> None:
    """On the screen, as JSON and as a CSV file."""
    source, report = tmp_path / "people.csv", tmp_path / "report.csv"
    source.write_text("name,phone,level\nMaya Okoro,call me,social\nBo,,professional\n", encoding="utf-8")
    ran = shell("import", "customers", str(source), "--report", str(report))
    assert ran.code == 0
    assert "2 lines: 1 added, 0 changed, 0 known already, 1 left out." in ran.out
    assert "line 3: level: professional is none of recreational, competitive." in ran.out
    rows = list(csv.DictReader(io.StringIO(report.read_text(encoding="utf-8"))))
    assert [(row["line"], row["kept"], row["column"]) for row in rows] == [("3", "no", "level"), ("2", "yes", "phone")]
    again = shell("import", "customers", str(source), "--json").json
    assert (again["resumed_after"], again["added"]) == (2, 0)
    assert again["refused"][0]["remark"]["message"].startswith("level: professional")
    source.write_text("phone\n1\n", encoding="utf-8")
    wrong = shell("import", "customers", str(source), "--json")
    assert wrong.code == 2
    assert wrong.json["error"]["message"] == (
        "Columns are missing: the file needs name, or first_name + last_name, or last_name; it has phone."
    )


def test_an_export_holds_everything_and_runs_nothing(shell: Shell, tmp_path: Path) -> None:
    """JSON for programs; a page to read with every word escaped."""
    name = "Bo <script>alert(1)</script>"
    assert shell("job", "add", "--name", name, *RACQUET).code == 0
    out = tmp_path / "bo.html"
    assert shell("export", "#1", "--out", str(out)).code == 0
    page = out.read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    found = json.loads(shell("export", "#1").out)
    assert found["customer"]["name"] == name
    assert (len(found["racquets"]), len(found["jobs"])) == (1, 1)


def test_a_backup_is_put_back_and_what_was_there_is_kept(shell: Shell, tag: str, tmp_path: Path) -> None:
    """Restoring asks first, and a file that is none is refused."""
    made = shell("backup", str(tmp_path / "backups"), "--json").json["file"]
    assert shell("erase", "maya", "--yes").code == 0
    asked = shell("restore", made, "--json")
    assert (asked.code, "--yes" in asked.json["error"]["message"]) == (2, True)
    restored = shell("restore", made, "--yes", "--json")
    assert restored.code == 0
    assert Path(restored.json["former"]).exists()
    assert shell("job", "history", tag, "--json").json["history"]["customer"]["name"] == "Maya Okoro"
    assert shell("restore", str(tmp_path / "none.sqlite3"), "--yes").code == 3
    broken = tmp_path / "broken.sqlite3"
    broken.write_text("nothing")
    assert shell("restore", str(broken), "--yes").code == 4


def test_a_pin_is_read_from_standard_input(shell: Shell) -> None:
    """Never from an option, which others could see."""
    for given, words, code in (
        ("4711\n", ("staff", "add", "Anna", "--role", "owner"), 0),
        ("4711\n", ("staff", "verify", "Anna"), 0),
        ("1234\n", ("staff", "verify", "Anna"), 2),
        ("12\n", ("staff", "add", "Ben"), 2),
        ("", ("staff", "retire", "Anna"), 0),
        ("4711\n", ("staff", "verify", "Anna"), 2),
    ):
        ran = shell(*words, given=given)
        assert ran.code == code, (words, ran)
        assert "4711" not in ran.out + ran.err


def test_every_command_explains_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """Each has its options behind --help."""
    for name in COMMANDS:
        with pytest.raises(SystemExit) as ended:
            build_parser([name]).parse_args([name, "--help"])
        assert ended.value.code == 0
        assert "--today" in capsys.readouterr().out
