"""Speaking to the kiosk in a real browser: its microphone is a recording, the ears are the real ones."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.channels.voice.ears import load_ears
from assistant.channels.voice.hear import Listener
from assistant.channels.web.shop import Shop
from dialogue.understanding import understand
from tests.assistant.voice import speech
from tests.assistant.web.browser.conftest import CHROMIUM, FLAGS, Open
from tests.assistant.web.browser.test_access import check, fits, too_small
from tests.assistant.web.browser.test_consultation import QUESTIONS_AT_MOST
from tests.assistant.web.running_shop import running

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

RATE = 48_000
"""Samples a second of Chromium's pretended microphone."""
CONSULTATION = "just for fun, twice a week, full bed of synthetic gut"
SILENCE = speech.to_sound(speech.noise("pink", 3) * speech.DITHER)
Speak = Callable[[str], None]


@pytest.fixture(scope="module")
def ears() -> Callable[[], Listener]:
    """What loads the ears; each server closes its own."""
    loaded = load_ears()
    return lambda: Listener(loaded, understand)


@pytest.fixture
def address(shop: Shop, ears: Callable[[], Listener]) -> Iterator[str]:
    """A server that hears."""
    with running(replace(shop, load_listener=ears)) as base:
        yield base


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    """The file that Chromium takes for its microphone; it is read anew each time the microphone is opened."""
    return speech.write(tmp_path / "microphone.wav", SILENCE)


@pytest.fixture
def say(sound: Path, tmp_path: Path) -> Speak:
    """Put a phrase before the microphone; it is said again and again, so that a busy machine misses none."""

    def spoken(text: str, voice: str = "slt") -> None:
        clip = speech.pad(speech.say(text, voice, tmp_path), before=2.0, after=3.0)
        speech.write(sound, clip.repeat(RATE // speech.RATE), RATE)

    return spoken


@contextmanager
def browser(chromium: Browser, *flags: str) -> Iterator[Browser]:
    """A browser with a pretended microphone."""
    started = chromium.browser_type.launch(
        executable_path=CHROMIUM, args=[*FLAGS, "--use-fake-device-for-media-stream", *flags]
    )
    try:
        yield started
    finally:
        started.close()


@contextmanager
def open_heard(chromium: Browser, address: str, sound: Path, path: str) -> Iterator[Page]:
    """A page in a browser whose microphone is allowed, and is a recording."""
    allowed = ("--use-fake-ui-for-media-stream", f"--use-file-for-fake-audio-capture={sound}")
    with browser(chromium, *allowed) as started:
        opened = started.new_page(base_url=address)
        opened.set_default_timeout(30_000)
        opened.goto(path)
        yield opened


@pytest.fixture
def page(chromium: Browser, address: str, sound: Path) -> Iterator[Page]:
    """The kiosk in a browser whose microphone is allowed."""
    with open_heard(chromium, address, sound, "/") as opened:
        yield opened


def until(page: Page, condition: str) -> None:
    """Wait for a condition in the page; its policy lets nobody evaluate a text in it again and again."""
    page.evaluate(
        f"() => new Promise(done => {{ const look = () => {condition} ? done() : setTimeout(look, 50); look(); }})"
    )


def listen(page: Page) -> None:
    """Press the button and wait until the microphone is open."""
    page.get_by_role("button", name="Speak").click()
    page.get_by_role("status").filter(has_text="speak now").wait_for()


def test_a_spoken_consultation_lands_in_the_conversation(page: Page, say: Speak) -> None:
    """Heard, shown, answered; what the ears doubt is read back, and one press or one word settles it."""
    say(CONSULTATION)
    listen(page)
    assert page.locator("meter").is_visible()
    page.locator(".heard", has_text=re.compile("twice a week", re.IGNORECASE)).wait_for()
    told = page.locator(".chips").inner_text()
    assert "For fun" in told
    assert "Synthetic gut" in told
    for _ in range(QUESTIONS_AT_MOST):
        if page.locator(".card").count():
            break
        heading = page.locator("h1").inner_text()
        answer = "yes" if heading.startswith("Did you mean") else "three months ago"
        say(answer)
        listen(page)
        page.locator("h1", has_text=re.compile(f"^(?!{re.escape(heading)}$)")).wait_for()
    assert page.locator("#verdict").inner_text() == "Play on"
    assert page.locator(".heard").inner_text().startswith("Heard: ")


def test_a_doubtful_figure_is_read_back_before_it_counts(page: Page, say: Speak) -> None:
    """A day is always read back; whoever says no is asked again."""
    page.get_by_label("Or say it in your own words").fill("just for fun, once a week, full bed of multifilament")
    page.keyboard.press("Enter")
    page.locator("h1", has_text="strung").wait_for()
    say("on the fifth of october")
    listen(page)
    page.locator("h1", has_text="Did you mean").wait_for()
    assert "5 October 2026" in page.locator("h1").inner_text()
    assert page.locator(".card").count() == 0
    page.get_by_role("button", name="No", exact=True).click()
    page.locator("h1", has_text="strung").wait_for()


def test_a_microphone_with_a_rate_of_its_own_is_heard_too(page: Page, say: Speak) -> None:
    """As in browsers that take a microphone at its own rate only: the server brings it down itself."""
    page.evaluate(
        """() => { const Own = window.AudioContext;
            window.AudioContext = class extends Own {
                constructor(asked) { super(); this.refuses = asked !== undefined; }
                createMediaStreamSource(stream) {
                    if (this.refuses) throw new DOMException("another rate", "NotSupportedError");
                    window.rate = this.sampleRate;
                    return super.createMediaStreamSource(stream);
                } }; }"""
    )
    say(CONSULTATION)
    listen(page)
    page.locator(".heard", has_text=re.compile("twice a week", re.IGNORECASE)).wait_for()
    assert page.evaluate("window.rate") > speech.RATE


def test_whoever_says_nothing_may_type(page: Page, sound: Path) -> None:
    """A second press ends it at once; the words say so, and the button is there again."""
    speech.write(sound, SILENCE)
    listen(page)
    page.get_by_role("button", name="Done", exact=True).click()
    page.get_by_role("status").filter(has_text="I heard nothing").wait_for()
    assert page.get_by_role("button", name="Speak").is_visible()
    type_an_answer(page)


def type_an_answer(page: Page) -> None:
    """Typing takes the conversation on as ever."""
    page.get_by_label("Or say it in your own words").fill("just for fun, twice a week")
    page.keyboard.press("Enter")
    page.locator(".question").wait_for()
    assert page.locator(".heard").count() == 0


def test_the_microphone_is_let_go_when_the_screen_moves_on(page: Page) -> None:
    """A tap while it listens ends the listening; no track is left open."""
    page.evaluate("""() => { const own = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
        window.streams = [];
        const keep = one => { streams.push(one); return one; };
        navigator.mediaDevices.getUserMedia = asked => own(asked).then(keep); }""")
    listen(page)
    page.get_by_role("button", name="Begin").click()
    page.locator(".question").wait_for()
    page.wait_for_function(
        "streams.length === 1 && streams[0].getTracks().every(track => track.readyState === 'ended')"
    )


def test_a_refused_microphone_leaves_text(chromium: Browser, address: str) -> None:
    """Said in plain words once; the button is gone and stays gone."""
    with browser(chromium, "--deny-permission-prompts") as started:
        page = started.new_page(base_url=address)
        page.goto("/")
        page.get_by_role("button", name="Speak").click()
        page.get_by_text("The microphone is not allowed here. Type or tap instead.").wait_for()
        assert not page.get_by_role("button", name="Speak").is_visible()
        type_an_answer(page)
        assert not page.get_by_role("button", name="Speak").is_visible()


def test_without_a_microphone_the_press_says_so(page: Page) -> None:
    """What a browser answers where there is none; typing is offered and the button goes."""
    page.evaluate(
        """() => { const none = new DOMException("none", "NotFoundError");
            navigator.mediaDevices.getUserMedia = () => Promise.reject(none); }"""
    )
    page.get_by_role("button", name="Speak").click()
    page.get_by_text("No microphone was found. Type or tap instead.").wait_for()
    assert not page.get_by_role("button", name="Speak").is_visible()
    type_an_answer(page)


def test_without_ears_there_is_no_button(open_page: Open) -> None:
    """Not even its script."""
    page = open_page("/")
    page.wait_for_load_state("networkidle")
    assert page.locator("[data-speak]").count() == 0
    assert "speak.js" not in page.content()


def test_the_button_is_for_everybody(page: Page) -> None:
    """Big enough, named, and within the screen on a phone with doubled text, listening or not."""
    page.set_viewport_size({"width": 360, "height": 760})
    too_small(page)
    check(page)
    listen(page)
    check(page)
    too_small(page)
    fits(page, 100)
    fits(page, 200)
