"""For everybody: axe finds nothing, targets are big, text may be doubled, motion stays away, small screens fit."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.assistant.web.browser.conftest import Open
from tests.assistant.web.browser.test_consultation import KIOSK, tap_through

if TYPE_CHECKING:
    from playwright.sync_api import Page

ROOT = Path(__file__).parents[4]
AXE = Path(os.environ.get("AXE_CORE") or ROOT / ".axe/node_modules/axe-core/axe.min.js")
"""The open accessibility checker axe-core (MPL-2.0), fetched by `npm install --prefix .axe axe-core@4`."""
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
BOARD = ("/board/", "/board/due", "/board/find", "/board/drop-off", "/board/leagues", "/board/league/1")
BOARD_CARDS = ("/board/customer/2", "/board/customer/6", "/board/job/3", "/board/job/5", "/board/consultation/1")
LEAST_TARGET = 44
"""CSS pixels, WCAG 2.2, 2.5.5; a link inside a sentence is exempt there."""
SIZES = ({"width": 360, "height": 760}, {"width": 1024, "height": 768}, {"width": 1080, "height": 1920})


def check(page: Page) -> None:
    """Let axe-core look at the page."""
    page.evaluate(AXE.read_text("utf-8") if AXE.exists() else pytest.fail(f"axe-core is missing: {AXE}"))
    found: dict[str, Any] = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", list(RULES)
    )
    told = [
        f"{one['id']} ({one['impact']}): {node['html'][:160]} {node['failureSummary'][:200]}"
        for one in found["violations"]
        for node in one["nodes"]
    ]
    assert not told, "\n".join([page.url, *told])
    assert found["passes"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_at_the_kiosk(open_page: Open, scheme: str) -> None:
    """On each of its screens, with everything opened, and on its warning."""
    page = open_page("/", color_scheme=scheme, **KIOSK)
    check(page)
    page.goto("/racquet")
    check(page)
    page.get_by_label("Tag on the label").fill("NOTTAG")
    page.get_by_role("button", name="Show").first.click()
    page.get_by_role("alert").filter(has_text="Nothing was found").wait_for()
    check(page)
    page.goto("/")
    page.get_by_role("button", name="Begin").click()
    page.locator(".question").wait_for()
    check(page)
    page.goto("/nothing")
    check(page)
    page.goto("/")
    page.get_by_role("button", name="Start over").click()
    page.get_by_role("button", name="Begin").wait_for()
    tap_through(page)
    for summary in page.locator("summary").all():
        summary.click()
    page.get_by_label("Plays a week").fill("5")
    page.locator("#supposed .supposed").wait_for()
    check(page)
    page.evaluate("document.getElementById('idle').showModal()")
    check(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_board(open_board: Open, scheme: str) -> None:
    """On every page of it."""
    page = open_board(color_scheme=scheme, viewport=SIZES[1])
    for path in (*BOARD, *BOARD_CARDS):
        page.goto(path)
        for summary in page.locator("summary").all():
            summary.click()
        check(page)
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    check(page)


@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size["width"]))
def test_what_can_be_pressed_is_big_enough(open_page: Open, open_board: Open, size: dict[str, int]) -> None:
    """Forty-four pixels each way."""
    page = open_page("/", viewport=size, has_touch=True)
    too_small(page)
    page.get_by_role("button", name="Begin").tap()
    page.locator(".question").wait_for()
    too_small(page)
    page.goto("/racquet")
    too_small(page)
    page.goto("/")
    page.get_by_role("button", name="Start over").tap()
    page.get_by_role("button", name="Begin").wait_for()
    tap_through(page)
    for summary in page.locator("summary").all():
        summary.tap()
    too_small(page)
    board = open_board(viewport=size)
    for path in (*BOARD, *BOARD_CARDS):
        board.goto(path)
        too_small(board)


def too_small(page: Page) -> None:
    """Fail where a control is smaller; links in running text are exempt."""
    found = page.evaluate(
        """least => [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary")]
            .filter(one => one.checkVisibility() && !one.closest("p:not(:has(> a:only-child)), .skip"))
            .map(one => [one.closest("label") ?? one, one])
            .filter(([place]) => { const box = place.getBoundingClientRect();
                return box.height < least - 0.5 || box.width < least - 0.5; })
            .map(([place, one]) => `${one.outerHTML.slice(0, 120)} ${place.getBoundingClientRect().height}`)""",
        LEAST_TARGET,
    )
    assert not found, "\n".join([page.url, *found])


@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size["width"]))
def test_nothing_runs_off_the_screen(open_page: Open, open_board: Open, size: dict[str, int]) -> None:
    """At the usual size of text and at double."""
    page, board = open_page("/", viewport=size, has_touch=True), open_board(viewport=size)
    for factor in (100, 200):
        for path in ("/", "/racquet"):
            page.goto(path)
            fits(page, factor)
        for path in (*BOARD, *BOARD_CARDS):
            board.goto(path)
            fits(board, factor)
    page.goto("/")
    tap_through(page)
    for summary in page.locator("summary").all():
        summary.tap()
    fits(page, 100)
    fits(page, 200)


def fits(page: Page, percent: int) -> None:
    """Fail where the page must be scrolled sideways with its text at so many per cent."""
    sizes = page.evaluate(
        """percent => { const root = document.documentElement;
            root.style.removeProperty("font-size");
            root.style.setProperty("font-size", parseFloat(getComputedStyle(root).fontSize) * percent / 100 + "px");
            return [root.scrollWidth, root.clientWidth]; }""",
        percent,
    )
    assert sizes[0] <= sizes[1], f"{page.url} at {percent} %: {sizes}"


def test_whoever_wants_no_motion_gets_none(open_page: Open) -> None:
    """No transition, no animation."""
    page = open_page("/", reduced_motion="reduce")
    moving = page.evaluate(
        """[...document.querySelectorAll("*")].filter(one => { const style = getComputedStyle(one);
            return parseFloat(style.transitionDuration) > 0 || parseFloat(style.animationDuration) > 0; }).length"""
    )
    assert moving == 0


def test_a_verdict_is_a_word_and_an_icon(open_page: Open) -> None:
    """It can be read without any colour."""
    page = open_page("/", forced_colors="active", **KIOSK)
    tap_through(page)
    assert page.locator(".card header .icon").is_visible()
    assert page.locator(".card header h1").inner_text() == "Play on"
