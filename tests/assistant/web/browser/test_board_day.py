"""The board in a real browser: a day from drop-off to pick-up, and two boards that tell each other."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.bootstrap import open_counter
from dialogue.counter.bench import mark_ready
from tests.assistant.web.browser.conftest import Open
from tests.assistant.web.running_shop import settings_of
from tests.assistant.web.test_kiosk import tag_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}


def take_in(page: Page, name: str, racquet: str) -> str:
    """Take in a racquet and return its tag."""
    page.get_by_role("link", name="Drop-off", exact=True).first.click()
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label("Plays", exact=True).select_option("recreational")
    page.get_by_label("Plays a week").fill("2")
    page.get_by_label("What it is called").fill(racquet)
    page.get_by_label("Sound").check()
    mains = page.get_by_role("group", name="Mains", exact=True)
    mains.get_by_label("Material").select_option("synthetic_gut")
    mains.get_by_label("Tension").fill("54")
    page.get_by_role("button", name="Take in").click()
    page.locator(".notes", has_text="Taken in").wait_for()
    return str(page.locator("h1 .tag").inner_text())


def test_from_drop_off_to_label_to_pick_up(open_board: Open, club: Path) -> None:
    """One racquet's way over the board, by touch on a tablet."""
    page = open_board(**TABLET)
    tag = take_in(page, "Juniper Vale", "grey frame")
    page.get_by_role("button", name="Log as strung").click()
    page.locator(".notes", has_text="Logged as strung.").wait_for()
    assert "24 May 2027" in page.locator("main").inner_text()
    page.get_by_label("Figures, apart by spaces").fill("62 61.5 63")
    page.get_by_role("button", name="Keep reading").click()
    page.locator(".notes", has_text="Reading kept.").wait_for()
    assert page.locator(".plot circle").count() == 1
    # Whoever did it needs no word that something changed.
    page.wait_for_timeout(1500)
    assert not page.locator("#changed").is_visible()
    page.get_by_role("button", name="Mark ready").click()
    page.locator(".notes", has_text="Ready to be picked up.").wait_for()
    path = page.get_by_role("link", name="Print the label").get_attribute("href")
    label = page.context.request.get(str(path))
    assert label.body().startswith(b"%PDF")
    page.get_by_role("button", name="Hand over").click()
    page.get_by_text("What to tell at the counter").wait_for()
    page.get_by_role("link", name="Bench", exact=True).click()
    page.get_by_role("heading", name="On the bench").wait_for()
    assert tag not in page.content()
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        job = unit.jobs.by_tag(tag)
        assert job
        assert job.status == "collected"


def test_a_refusal_stands_beside_what_was_typed(open_board: Open) -> None:
    """The alert names the fault; the field is marked; nothing has to be typed again."""
    page = open_board(**TABLET)
    page.get_by_role("link", name="Drop-off", exact=True).click()
    page.get_by_label("Name", exact=True).fill("Juniper Vale")
    page.get_by_label("Sound").check()
    page.get_by_label("Head size, square inches").fill("huge")
    page.get_by_role("button", name="Take in").click()
    page.get_by_role("alert").filter(has_text="Write a number").wait_for()
    assert page.get_by_label("Name", exact=True).input_value() == "Juniper Vale"
    assert page.get_by_label("Head size, square inches").get_attribute("aria-invalid") == "true"


def test_what_one_board_does_shows_on_the_other(open_board: Open) -> None:
    """Two browsers; the second one's bench fills without a touch."""
    one, two = open_board(**TABLET), open_board(**TABLET)
    two.locator("main[data-live=on]").wait_for()
    take_in(one, "Juniper Vale", "grey frame")
    two.locator(".bench", has_text="grey frame").wait_for()
    assert two.evaluate("performance.getEntriesByType('navigation').length") == 1


def test_what_another_program_does_shows_too(open_board: Open, club: Path) -> None:
    """Another counter on the same database, which tells this server nothing."""
    page = open_board(**TABLET)
    page.locator("main[data-live=on]").wait_for()
    tag = tag_of(club, "daily frame")
    row = page.locator(".bench li", has_text="daily frame")
    assert "Strung" in row.inner_text()
    with open_counter(settings_of(club), who="second counter") as counter:
        mark_ready(counter, tag)
    page.locator(".bench li.ready", has_text="daily frame").wait_for()


def test_somebody_who_is_typing_is_not_interrupted(open_board: Open) -> None:
    """A button says that something changed; the half-filled form stays."""
    one, two = open_board(**TABLET), open_board(**TABLET)
    two.get_by_role("link", name="Drop-off", exact=True).click()
    two.locator("main[data-live=on]").wait_for()
    two.get_by_label("Name", exact=True).fill("Half Typed")
    take_in(one, "Juniper Vale", "grey frame")
    two.get_by_role("button", name="Something changed. Show it").wait_for()
    assert two.get_by_label("Name", exact=True).input_value() == "Half Typed"


def test_the_search_leaves_no_name_in_the_address(open_board: Open) -> None:
    """Nor in the history."""
    page = open_board(**TABLET)
    page.get_by_role("searchbox").first.fill("Tobias Wren")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Tobias Wren").wait_for()
    assert not re.search("tobias|wren", page.url, re.IGNORECASE)
    assert page.locator(".plot").count() == 1
