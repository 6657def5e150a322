"""Taps on a stringbed before a real browser's microphone, which is a recording."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.io import wavfile

from tests.assistant.web.browser.conftest import sign_in
from tests.assistant.web.browser.test_access import fits, too_small
from tests.assistant.web.browser.test_board_day import take_in
from tests.assistant.web.browser.test_speaking import browser, open_heard
from tests.rules.synthetic_taps import Tapped, sound

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

RATE = 48_000
TAPPED = 612


@pytest.fixture
def microphone(tmp_path: Path) -> Path:
    """Three taps, said again and again, with a breath between."""
    taps = np.concatenate([sound(Tapped(TAPPED, RATE, noise_db=30)), np.zeros(RATE)])
    wavfile.write(tmp_path / "taps.wav", RATE, (taps * 32767).astype(np.int16))
    return tmp_path / "taps.wav"


@pytest.fixture
def board(chromium: Browser, base: str, microphone: Path) -> Iterator[Page]:
    """The board, signed in, in a browser whose microphone is allowed."""
    with open_heard(chromium, base, microphone, "/board/") as page:
        sign_in(page)
        yield page


def strung(board: Page) -> None:
    """Take in a racquet and log it as strung."""
    take_in(board, "Juniper Vale", "grey frame")
    board.get_by_role("button", name="Log as strung").click()
    board.locator(".notes", has_text="Logged as strung.").wait_for()


def test_taps_become_the_figures_of_a_reading(board: Page) -> None:
    """One press, three taps: figures and kind stand in the form, and somebody keeps them."""
    strung(board)
    too_small(board)
    board.get_by_role("button", name="Hear taps").click()
    board.get_by_role("status").filter(has_text="Heard 3 taps").wait_for()
    figures = [float(text) for text in board.get_by_label("Figures, apart by spaces").input_value().split()]
    assert figures == pytest.approx([TAPPED] * 3, rel=0.01)
    assert board.locator("#kind").input_value() == "frequency"
    assert board.get_by_role("button", name="Hear taps").is_visible()
    fits(board, 100)
    board.get_by_role("button", name="Keep reading").click()
    board.locator(".notes", has_text="Reading kept.").wait_for()
    assert "Frequency" in board.locator("table").inner_text()


def test_a_microphone_that_is_refused_leaves_the_keys(chromium: Browser, base: str) -> None:
    """Said once in plain words; the button goes."""
    with browser(chromium, "--deny-permission-prompts") as started:
        page = started.new_page(base_url=base)
        page.goto("/board/")
        sign_in(page)
        strung(page)
        page.get_by_role("button", name="Hear taps").click()
        page.get_by_text("The microphone is not allowed here. Type the figures instead.").wait_for()
        assert not page.get_by_role("button", name="Hear taps").is_visible()
