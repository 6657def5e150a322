"""The first page on a cold load: how much it is and when it can be used, by Chromium's own numbers."""

from __future__ import annotations

from tests.assistant.web.browser.conftest import Open

LARGEST = 100_000
"""Bytes over the wire, all files of the page together."""
SLOWEST = 1000
"""Milliseconds until the page can be used."""


def test_the_first_page_is_small_and_quick(open_page: Open) -> None:
    """Page, styles, script and icon; interactive when the parser is done and the script has run."""
    page = open_page("/")
    page.wait_for_load_state("networkidle")
    sizes, times = page.evaluate(
        """[[...performance.getEntriesByType("resource"), ...performance.getEntriesByType("navigation")]
              .map(one => one.transferSize),
            performance.getEntriesByType("navigation")
              .map(one => [one.domInteractive, one.domContentLoadedEventEnd])[0]]"""
    )
    assert len(sizes) > 3
    assert sum(sizes) < LARGEST
    assert max(times) < SLOWEST
    print(f"first page: {sum(sizes)} bytes, interactive after {times[0]:.0f} ms, ready after {times[1]:.0f} ms")  # noqa: T201
