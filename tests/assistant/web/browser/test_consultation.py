"""A whole consultation in a real browser: by touch, by keyboard, without script; what-if, QR, print, idle."""

from __future__ import annotations

import datetime as dt
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

import icalendar
import pytest
import zxingcpp
from PIL import Image

from assistant.channels.web.wording import figure
from tests.assistant.web.browser.conftest import Open
from tests.assistant.web.test_kiosk import tag_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

ANSWERS = ("Just for fun", "Twice a week", "Synthetic gut", "Same as the mains", "Three months ago")
"""What is tapped, whichever question comes first."""
QUESTIONS_AT_MOST = 9
NINE = dt.datetime(2026, 11, 24, 9, tzinfo=dt.UTC)
KIOSK = {"viewport": {"width": 1080, "height": 1920}, "has_touch": True}


def tap_through(page: Page) -> None:
    """Tap the first known answer to each question until there is a verdict."""
    page.get_by_role("button", name="Begin").tap()
    for _ in range(QUESTIONS_AT_MOST):
        page.locator(".question, .card").first.wait_for()
        if page.locator(".card").count():
            return
        heading = page.locator("h1").inner_text()
        offered = page.locator(".choices .choice").all_inner_texts()
        chosen = next((answer for answer in ANSWERS if answer in offered), None)
        assert chosen, f"{heading}: {offered}"
        page.get_by_role("button", name=chosen, exact=True).tap()
        page.locator("h1", has_text=re.compile(f"^(?!{re.escape(heading)}$)")).wait_for()
    pytest.fail("no verdict")


def test_a_customer_taps_through_to_a_date(open_page: Open) -> None:
    """From the first touch to verdict, day, reasons and reasoning."""
    page = open_page("/", **KIOSK)
    tap_through(page)
    assert page.get_by_role("heading", level=1).inner_text() == "Play on"
    assert page.locator(".when").inner_text().startswith("Restring by about ")
    assert page.locator(".card .why li").count() == 3
    assert not page.locator(".trail").is_visible()
    page.get_by_text("Show the reasoning").tap()
    assert page.locator(".trail li").count() > 4
    assert "Source: " in page.locator(".trail").inner_text()


def test_the_keyboard_alone_is_enough(open_page: Open) -> None:
    """Tab and Enter; after each step the question has the focus, so the next Tab is its first answer."""
    page = open_page("/")
    press_until(page, "Begin")
    for _ in range(QUESTIONS_AT_MOST):
        page.locator(".question, .card").first.wait_for()
        assert page.evaluate("document.activeElement.tagName") == "H1"
        if page.locator(".card").count():
            break
        heading = page.locator("h1").inner_text()
        offered = page.locator(".choices .choice").all_inner_texts()
        press_until(page, next(answer for answer in ANSWERS if answer in offered))
        page.locator("h1", has_text=re.compile(f"^(?!{re.escape(heading)}$)")).wait_for()
    assert page.locator("#verdict").inner_text() == "Play on"
    press_until(page, "Show the reasoning")
    assert page.locator(".trail").is_visible()


def press_until(page: Page, name: str) -> None:
    """Tab to the control of this name and press Enter."""
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == name:
            page.keyboard.press("Enter")
            return
    pytest.fail(f"{name} cannot be reached by Tab")


def test_typed_words_do_as_well(open_page: Open) -> None:
    """Everything in one sentence; the card quotes it."""
    page = open_page("/")
    page.get_by_label("Or say it in your own words").fill(
        "just for fun, twice a week, full bed of synthetic gut, strung three months ago"
    )
    page.keyboard.press("Enter")
    page.locator(".card").wait_for()
    assert page.locator("#verdict").inner_text() == "Play on"


def test_without_script_the_forms_still_work(open_page: Open) -> None:
    """Every button is a plain form's."""
    page = open_page("/", java_script_enabled=False)
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("button", name="Just for fun", exact=True).click()
    page.get_by_label("Or answer in your own words").fill("twice a week, full bed of polyester, strung in june")
    page.get_by_role("button", name="Send").click()
    assert page.locator("#verdict").inner_text() == "Restring now"
    page.get_by_label("Plays a week").fill("1")
    page.get_by_role("button", name="Work it out").click()
    assert page.locator("#supposed").inner_text()


def test_going_back_opens_the_last_question(open_page: Open) -> None:
    """With the button on the screen."""
    page = open_page("/")
    page.get_by_role("button", name="Begin").click()
    page.locator(".question").wait_for()
    first = page.locator("h1").inner_text()
    page.get_by_role("button", name="Just for fun", exact=True).click()
    page.locator("h1", has_text=re.compile(f"^(?!{re.escape(first)}$)")).wait_for()
    page.get_by_role("button", name="Back").click()
    page.locator("h1", has_text=first).wait_for()


def test_the_slider_decides_again_while_it_moves(open_page: Open) -> None:
    """More plays, an earlier date; the card itself stays."""
    page = open_page("/", **KIOSK)
    tap_through(page)
    page.get_by_label("Plays a week").focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    page.locator("#supposed", has_text="Restring now").wait_for()
    assert page.locator("#plays-now").inner_text() == "5"
    page.get_by_label("In matches").check()
    page.locator("#supposed", has_text="every three months").wait_for()
    assert page.locator("#verdict").inner_text() == "Play on"


def test_the_code_on_the_screen_holds_the_date(open_page: Open) -> None:
    """Read off the screen by an independent reader: the event itself, no address."""
    page = open_page("/", **KIOSK)
    tap_through(page)
    page.get_by_text("Take the date along").tap()
    page.locator(".qr").evaluate("image => image.decode()")
    picture = Image.open(io.BytesIO(page.locator(".qr").screenshot()))
    found = zxingcpp.read_barcodes(picture)
    assert len(found) == 1
    event = icalendar.Calendar.from_ical(found[0].text).walk("VEVENT")[0]
    day = event.decoded("dtstart")
    assert f"{day.day} {day:%B} {day.year}" in page.locator(".when").inner_text()
    assert "http" not in found[0].text


def test_on_paper_the_card_stands_alone(open_page: Open) -> None:
    """Nothing of the screen's controls is printed."""
    page = open_page("/", **KIOSK)
    tap_through(page)
    page.emulate_media(media="print")
    assert page.locator(".card").is_visible()
    assert page.locator(".print-only").is_visible()
    for hidden in (".beside", ".steer", "dialog"):
        assert not page.locator(hidden).first.is_visible()


def test_a_tag_brings_the_racquet_up(open_page: Open, club: Path) -> None:
    """From the first screen."""
    page = open_page("/", **KIOSK)
    page.get_by_role("link", name="My racquet has a label").tap()
    page.get_by_label("Tag on the label").fill(tag_of(club, "blue frame"))
    page.get_by_role("button", name="Show").first.tap()
    page.locator(".card").wait_for()
    assert "Restring now" in page.locator("#verdict").inner_text()
    assert "Wren" not in page.content()


def stop_clock(page: Page) -> None:
    """Open the kiosk with a clock that only the test moves."""
    page.clock.install(time=NINE)
    page.goto("/")
    page.clock.pause_at(NINE + dt.timedelta(hours=1))


def test_left_alone_the_screen_warns_and_clears(open_page: Open) -> None:
    """The clock is moved on by hand: a warning twenty seconds before, then the first screen, and nothing comes back."""
    page = open_page("about:blank", **KIOSK)
    stop_clock(page)
    tap_through(page)
    page.clock.run_for((figure("clear_after_seconds") - figure("warn_before_seconds")) * 1000 - 2000)
    assert not page.locator("#idle").is_visible()
    page.clock.run_for(3000)
    assert page.locator("#idle").is_visible()
    assert "seconds this screen clears" in page.locator("#idle-text").inner_text()
    page.clock.run_for((figure("warn_before_seconds") + 1) * 1000)
    page.get_by_role("heading", name="When should I restring?").wait_for()
    assert "Restring by" not in page.content()
    page.goto("/")
    assert page.locator(".card").count() == 0


def test_somebody_still_there_stays(open_page: Open) -> None:
    """One press on the warning, and the minute begins anew."""
    page = open_page("about:blank", **KIOSK)
    stop_clock(page)
    tap_through(page)
    page.clock.run_for((figure("clear_after_seconds") - 5) * 1000)
    page.get_by_role("button", name="I'm still here").tap()
    page.clock.run_for((figure("clear_after_seconds") - figure("warn_before_seconds") - 2) * 1000)
    assert not page.locator("#idle").is_visible()
    assert page.locator("#verdict").inner_text() == "Play on"


def test_the_first_screen_waits_for_ever(open_page: Open) -> None:
    """Nobody is warned where nothing was said."""
    page = open_page("about:blank")
    page.clock.install()
    page.goto("/")
    page.clock.run_for(300_000)
    assert not page.locator("#idle").is_visible()
    assert page.get_by_role("button", name="Begin").is_visible()
