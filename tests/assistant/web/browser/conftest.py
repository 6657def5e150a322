"""A real Chromium for the browser tests, watched: no address but loopback, no fault in its console."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from tests.assistant.web.running_shop import NAME, PIN

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
MISSING = [
    name
    for name, there in (
        ("the extra `browser` (pip install -e '.[dev,browser]')", importlib.util.find_spec("playwright")),
        ("Chromium (on Debian: apt-get install chromium), or CHROMIUM=/path/to/it", Path(CHROMIUM).exists()),
    )
    if not there
]
# On a developer's machine without a browser these tests stay out, and the report's head says so; in CI they fail.
if MISSING and not os.environ.get("CI"):
    collect_ignore_glob = ["test_*.py"]

Open = Callable[..., "Page"]


def pytest_report_header() -> str:
    """Say at the head of the report whether the browser tests run."""
    return f"browser tests: LEFT OUT, missing: {'; '.join(MISSING)}" if MISSING else f"browser tests: {CHROMIUM}"


@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    """The browser, started once; closed before other tests run, since playwright keeps an event loop running."""
    assert not MISSING, f"missing: {'; '.join(MISSING)}"
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - it may be missing

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium: Browser, base: str) -> Iterator[Open]:
    """Open pages in browsers of their own; whatever they ask for is on loopback, and nothing fails in them."""
    contexts: list[BrowserContext] = []
    asked: list[str] = []
    faults: list[str] = []

    def open_one(path: str = "/", **options: object) -> Page:
        context = chromium.new_context(base_url=base, **options)  # type: ignore[arg-type]
        contexts.append(context)
        context.set_default_timeout(10_000)
        context.on("request", lambda request: asked.append(request.url))
        page = context.new_page()
        page.on("websocket", lambda socket: asked.append(socket.url))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
        page.goto(path)
        return page

    yield open_one
    for context in contexts:
        context.close()
    hosts = {urlsplit(address).hostname for address in asked}
    assert hosts == {"127.0.0.1"}
    # A refused form is answered with its own code, which the console calls an error.
    assert not [fault for fault in faults if "status of 4" not in fault]


@pytest.fixture
def open_board(open_page: Open) -> Open:
    """Open the board and sign in."""

    def open_one(**options: object) -> Page:
        page = open_page("/board/", **options)
        sign_in(page)
        return page

    return open_one


def sign_in(page: Page) -> None:
    """Sign in at the board and wait for the bench."""
    page.get_by_label(NAME).check()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="On the bench").wait_for()
