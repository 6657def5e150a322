"""The staff board over real HTTP: signing in, the day from drop-off to pick-up, searches, leagues, replay."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest

from assistant.bootstrap import open_counter
from dialogue.counter.staff import add_staff
from tests.assistant.web.running_shop import NAME, PIN, Visitor, real_shop, running, settings_of

PAGES = (
    "/board/",
    "/board/due",
    "/board/find",
    "/board/drop-off",
    "/board/leagues",
    "/board/customer/1",
    "/board/job/1",
)
DROP_OFF = {
    "name": "Juniper Vale",
    "level": "recreational",
    "plays_per_week": "2",
    "nickname": "grey frame",
    "sport": "tennis",
    "head_size_in2": "100",
    "mains_count": "16",
    "crosses_count": "19",
    "tension_min_lb": "50",
    "tension_max_lb": "60",
    "frame_check": "sound",
    "mains_material": "synthetic_gut",
    "mains_tension": "54",
    "unit": "lb",
    "promised_on": "2026-11-26",
}


@pytest.mark.parametrize("path", PAGES)
def test_without_a_pin_every_page_leads_to_the_sign_in(visitor: Visitor, path: str) -> None:
    """And shows nothing of what it would show."""
    page = visitor.look(path)
    assert page.url.path == "/board/sign-in"
    assert "Okoro" not in page.text


@pytest.mark.parametrize(
    "path", ["/board", "/board//", "//board/", "/board/../board/", "/%62oard/", "/board/job/1/label.pdf"]
)
def test_no_way_of_writing_the_address_goes_round_the_gate(visitor: Visitor, path: str) -> None:
    """Whatever answers, it is no page of the board."""
    page = visitor.client.get(path)
    assert "On the bench" not in page.text
    assert not page.content.startswith(b"%PDF")


def test_the_right_pin_opens_the_bench(staff: Visitor) -> None:
    """With every racquet in the shop, by name, status and promise."""
    assert staff.page.url.path == "/board/"
    assert NAME in staff.page.text
    for text in ("red frame", "Maya Okoro", "Ready", "To be strung", "tomorrow"):
        assert text in staff.text


def test_the_session_cookie_is_kept_from_scripts_and_other_sites(visitor: Visitor) -> None:
    """HttpOnly, SameSite, for the board's own path alone."""
    visitor.client.follow_redirects = False
    cookie = visitor.sign_in().headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/board" in cookie


def test_a_wrong_pin_or_name_opens_nothing(visitor: Visitor) -> None:
    """Both are answered alike."""
    wrong_pin = visitor.sign_in(pin="000000")
    answered = visitor.text
    wrong_name = visitor.sign_in(name="Nobody Here")
    assert wrong_pin.status_code == wrong_name.status_code == 422
    assert answered == visitor.text
    assert visitor.look("/board/").url.path == "/board/sign-in"


def test_guessing_pins_ends_after_a_few(visitor: Visitor) -> None:
    """Five wrong ones, then even the right one waits."""
    codes = [visitor.sign_in(pin=f"00000{number}").status_code for number in range(5)]
    assert codes == [422] * 5
    assert visitor.sign_in(pin=PIN).status_code == 429
    assert "Too many attempts" in visitor.text


def test_signing_out_ends_the_session_for_its_cookie_too(staff: Visitor) -> None:
    """A copied cookie is worth nothing afterwards."""
    cookie = staff.client.cookies["staff"]
    staff.send("/board/sign-out")
    assert staff.look("/board/").url.path == "/board/sign-in"
    staff.client.cookies.set("staff", cookie, path="/board")
    assert staff.look("/board/").url.path == "/board/sign-in"


def test_each_sign_in_makes_a_new_session(visitor: Visitor) -> None:
    """A cookie that was there before is not taken over."""
    visitor.client.follow_redirects = False
    planted = {"Cookie": "staff=1.1.1.planted.AAAA"}
    given = [
        visitor.client.post("/board/sign-in", data={"name": NAME, "pin": PIN}, headers=planted).headers["set-cookie"]
        for _ in range(2)
    ]
    assert "planted" not in given[0]
    assert given[0] != given[1]


def test_a_form_of_another_page_changes_nothing(staff: Visitor, club: Path) -> None:
    """Without the session's own token, with a wrong one, or from another site, it is refused."""
    token = staff.token
    for fields, headers in (
        ({}, {}),
        ({"token": "AAAA"}, {}),
        ({"token": token}, {"Origin": "http://elsewhere.example"}),
        ({"token": token}, {"Sec-Fetch-Site": "cross-site"}),
    ):
        answer = staff.client.post("/board/leagues", data={"name": "Sneaky League", **fields}, headers=headers)
        assert answer.status_code == 403
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        assert unit.leagues.named("Sneaky League") is None


def test_a_day_from_drop_off_to_pick_up(staff: Visitor, club: Path) -> None:
    """Taken in, strung, measured, labelled, handed over: each step on the board, all of it on record."""
    staff.look("/board/drop-off")
    staff.send("/board/drop-off", **DROP_OFF)
    assert staff.page.status_code == 200
    tag = re.search(r"Taken in\. Tag (\w{6})\.", staff.text)
    number = re.search(r'data-here="/board/job/(\d+)"', staff.page.text)
    assert tag
    assert number
    job = f"/board/job/{number[1]}"
    assert "synthetic gut at 54 lb" in staff.text
    assert staff.client.get(f"{job}/label.pdf").status_code == 422
    staff.send(f"{job}/strung", strung_on="2026-11-24", machine="constant_pull", pieces="2")
    assert "Logged as strung." in staff.text
    assert "The label says 24 May 2027" in staff.text
    staff.send(f"{job}/reading", values="62 61 63", kind="deflection", role="baseline", taken_on="2026-11-24")
    assert "Reading kept." in staff.text
    assert 'class="threshold worn"' in staff.page.text
    staff.send(f"{job}/ready")
    label = staff.client.get(f"{job}/label.pdf")
    assert label.headers["content-type"] == "application/pdf"
    assert tag[1] in pypdf.PdfReader(io.BytesIO(label.content)).pages[0].extract_text()
    staff.look(job)
    staff.send(f"{job}/pickup")
    for text in ("Handed over.", "What to tell at the counter", "24 May 2027"):
        assert text in staff.text
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        kept = unit.jobs.get(int(number[1]))
        assert kept.status == "collected"
        assert kept.tag == tag[1]
        assert [row.values for row in unit.readings.of_job(kept.id)] == [(62.0, 61.0, 63.0)]
        assert NAME in {row.who for row in unit.trail.of("string_job", kept.id)}


def test_a_refused_drop_off_keeps_what_was_typed_and_says_why(staff: Visitor) -> None:
    """Seventy pounds on a frame printed 50 to 60; the wish in words lets it through, with a warning."""
    staff.look("/board/drop-off")
    staff.send("/board/drop-off", **(DROP_OFF | {"mains_tension": "70"}))
    assert staff.page.status_code == 422
    assert "outside the range printed on the frame" in staff.text
    assert 'value="Juniper Vale"' in staff.page.text
    assert 'value="grey frame"' in staff.page.text
    assert re.search(r'id="mains_tension"[^>]*aria-invalid="true"', staff.page.text)
    staff.send("/board/drop-off", **(DROP_OFF | {"mains_tension": "70", "wish": "wants it that hard"}))
    assert staff.page.status_code == 200
    assert "wants it that hard" in staff.text


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"head_size_in2": "huge"}, "Write a number"),
        ({"promised_on": "soon"}, "Write a day"),
        ({"mains_count": "1.5"}, "Write a whole number"),
        ({"frame_check": ""}, "Look over frame"),
        ({"mains_material": ""}, "name a material"),
        ({"name": ""}, "Whose racquet"),
        ({"head_size_in2": "500"}, "outside 20"),
        ({"promised_on": "2020-01-01"}, "has passed"),
    ],
)
def test_bad_input_is_answered_in_words(staff: Visitor, fields: dict[str, str], says: str) -> None:
    """Never with a fault, and nothing is written."""
    staff.look("/board/drop-off")
    staff.send("/board/drop-off", **(DROP_OFF | fields))
    assert staff.page.status_code == 422
    assert says in staff.text
    assert "Juniper" not in staff.look("/board/").text


def test_somebody_unsure_is_advised_and_nothing_is_taken_in(staff: Visitor) -> None:
    """The form comes back with strings and tension in it, what was filled in before, and why."""
    staff.look("/board/drop-off")
    unsure = DROP_OFF | {"mains_material": "", "mains_tension": "", "advise": "yes", "arm_pain": "yes"}
    staff.send("/board/drop-off", **unsure)
    assert staff.page.status_code == 200
    assert "With a sore arm start from a soft string" in staff.text
    assert "no treatment" in staff.text
    assert re.search(r'name="mains_tension"[^>]*value="53"', staff.page.text)
    assert re.search(r'value="multifilament" selected', staff.page.text)
    assert 'value="Juniper Vale"' in staff.page.text
    assert 'value="As advised on' in staff.page.text
    staff.send("/board/drop-off", **(unsure | {"tension_min_lb": "much"}))
    assert staff.page.status_code == 422
    assert "Juniper" not in staff.look("/board/").text


def test_a_crack_goes_to_a_person(staff: Visitor) -> None:
    """No stringing is opened."""
    staff.look("/board/drop-off")
    staff.send("/board/drop-off", **(DROP_OFF | {"frame_check": "crack"}))
    assert "qualified stringer" in staff.text
    assert "grey frame" not in staff.look("/board/").text


def test_a_check_reading_says_what_it_changed(staff: Visitor) -> None:
    """The verdict before and after."""
    staff.send("/board/find", said="Ines Marlow")
    job = re.search(r'href="(/board/job/\d+)"', staff.page.text)
    assert job
    staff.look(job[1])
    staff.send(f"{job[1]}/reading", values="40 41 39", kind="deflection", role="check", taken_on="2026-11-24")
    assert "Before this reading:" in staff.text
    assert "With it: Restring now" in staff.text


def test_a_baseline_that_cannot_be_right_is_asked_back(staff: Visitor) -> None:
    """The form comes again with what was typed, what may have been meant, and a box to stand by it."""
    staff.look("/board/")
    job = re.search(r'href="(/board/job/\d+)".*?Strung', staff.page.text, re.DOTALL)
    assert job
    staff.look(job[1])
    fields = {"kind": "stiffness", "role": "baseline", "taken_on": "2026-11-24"}
    assert 'name="sure"' not in staff.page.text
    staff.send(f"{job[1]}/reading", values="93", **fields)
    assert staff.page.status_code == 422
    assert "A baseline of 93 cannot be right here" in staff.text
    assert 'name="sure"' in staff.page.text
    assert 'value="93"' in staff.page.text
    staff.send(f"{job[1]}/reading", values="93", sure="yes", **fields)
    assert "Reading kept." in staff.text


def test_searching_by_name_number_and_tag(staff: Visitor) -> None:
    """One hit opens the card, several ask which, a tag opens the stringing; what was typed is in no address."""
    staff.send("/board/find", said="Tobias Wren")
    assert staff.heading == "Tobias Wren"
    assert "Wren" not in str(staff.page.url)
    tag = re.search(r'href="/board/job/(\d+)"', staff.page.text)
    assert tag
    staff.send("/board/find", said="Sam Brandt")
    assert staff.text.count("Sam Brandt") == 2
    staff.look(f"/board/job/{tag[1]}")
    label = re.search(r'<span class="tag">(\w{6})</span>', staff.page.text)
    assert label
    staff.send("/board/find", said=label[1])
    assert staff.heading.startswith("blue frame")
    staff.send("/board/find", said="Zzyx Qwv")
    assert "Nobody was found" in staff.text


def test_the_customer_page_shows_readings_against_their_thresholds(staff: Visitor) -> None:
    """600 Hz fresh: 10 % of the tension is gone at 569.2 Hz, 20 % at 536.7 Hz (string formula)."""
    staff.send("/board/find", said="Leonie Achterberg")
    assert "<tspan" in staff.page.text
    assert ">569.2</tspan>" in staff.page.text
    assert ">536.7</tspan>" in staff.page.text


def test_the_due_list_names_the_overdue_first(staff: Visitor) -> None:
    """By name, only with consent by number."""
    staff.look("/board/due")
    assert staff.text.index("late") < staff.text.index("in 8 days")
    assert "no consent to contact" in staff.text


def test_a_consultation_is_replayed_with_words_facts_and_trail(visitor: Visitor, staff: Visitor, club: Path) -> None:
    """What was said at the kiosk, what was understood, and each row."""
    visitor.look("/")
    for text in ("When should I restring?", "for fun, twice a week, full bed of polyester", "strung in september"):
        visitor.say(text)
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        last = max(row.id for row in unit.consultations.all())
    staff.look(f"/board/consultation/{last}")
    assert "for fun, twice a week, full bed of polyester" in staff.text
    assert "plays_per_week" in staff.text
    assert "Row fun-polyester" in staff.text


def test_leagues_seasons_and_the_rush(staff: Visitor) -> None:
    """A league is taken down, a season added, a player put in, the rush spread over days."""
    staff.look("/board/leagues")
    staff.send("/board/leagues", name="Frost League", starts_on="2027-01-20")
    assert "Frost League" in staff.text
    staff.send("/board/leagues", name="Frost League")
    assert staff.page.status_code == 422
    staff.send("/board/leagues/season", league="Frost League", starts_on="2027-05-01", season="Spring")
    assert "1 May 2027" in staff.text
    staff.send("/board/find", said="Tobias Wren")
    number = staff.page.text.split('data-here="/board/customer/')[1].split('"')[0]
    staff.send(f"/board/customer/{number}/league", league="frost league")
    league = re.search(r'href="(/board/league/\d+)"', staff.look("/board/leagues").text.split("Frost League")[1])
    assert league
    staff.look(league[1])
    assert "Tobias Wren" in staff.text
    assert "Planned for" in staff.text


def test_the_last_entry_can_be_taken_back(staff: Visitor) -> None:
    """A league taken down by mistake is gone again; then there is nothing of this person's left."""
    staff.look("/board/leagues")
    staff.send("/board/leagues", name="Slip League")
    staff.look("/board/")
    staff.send("/board/undo")
    assert "Taken back" in staff.text
    assert "Slip League" not in staff.look("/board/leagues").text


@pytest.mark.parametrize(
    "path", ["/board/customer/999", "/board/job/999", "/board/consultation/999", "/board/league/999"]
)
def test_what_is_not_there_is_said_plainly(staff: Visitor, path: str) -> None:
    """404 with a way back."""
    assert staff.look(path).status_code == 404
    assert staff.heading == "There is nothing here"


def test_collected_twice_is_refused(staff: Visitor) -> None:
    """With the day it was collected."""
    staff.send("/board/find", said="Tobias Wren")
    job = re.search(r'href="(/board/job/\d+)"', staff.page.text)
    assert job
    staff.look(job[1])
    staff.send(f"{job[1]}/pickup")
    assert staff.page.status_code == 422
    assert "was collected on" in staff.text
    assert staff.send(f"{job[1]}/explode").status_code == 404


def test_an_empty_database_shows_how_to_begin(tmp_path: Path) -> None:
    """The command that takes somebody on, and the kiosk that works without."""
    with real_shop(tmp_path / "new.sqlite3") as shop, running(shop) as base, Visitor(base) as visitor:
        visitor.look("/board/")
        assert visitor.heading == "Set up the board"
        assert "counterpull staff add NAME --role owner" in visitor.text
        assert 'href="/"' in visitor.page.text


def test_the_first_steps_after_signing_in_are_shown(tmp_path: Path) -> None:
    """An empty bench leads to the drop-off."""
    path = tmp_path / "new.sqlite3"
    with open_counter(settings_of(path)) as counter:
        add_staff(counter, NAME, "owner", PIN)
    with real_shop(path) as shop, running(shop) as base, Visitor(base) as staff:
        staff.sign_in()
        assert "The bench is empty." in staff.text
        assert 'href="/board/drop-off"' in staff.page.text
        for page in ("/board/due", "/board/leagues", "/board/find"):
            assert staff.look(page).status_code == 200
