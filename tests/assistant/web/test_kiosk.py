"""The kiosk over real HTTP: a consultation, what-if, the date to take along, racquets brought up, and forgetting."""

from __future__ import annotations

import datetime as dt
import re
import time
from pathlib import Path

import httpx
import icalendar
import pytest

from assistant.bootstrap import decide_facts, open_counter
from assistant.channels.web.sessions import Sessions
from assistant.channels.web.shop import Shop
from dialogue.counter.customers import CustomerDraft, change_customer
from tests.assistant.web.running_shop import TODAY, EchoTurn, Visitor, real_shop, running, settings_of, with_turn

ANSWERS = ("When should I restring?", "just for fun", "three times a week", "synthetic gut", "same as the mains")


def talk_through(visitor: Visitor, *last: str) -> None:
    """Answer every question of one consultation."""
    visitor.look("/")
    for text in (*ANSWERS, *(last or ("on the 31st of August 2026",))):
        visitor.say(text)


def test_a_consultation_ends_in_the_decision_that_the_rules_take(visitor: Visitor, club: Path) -> None:
    """The card says what `decide` says of the same facts: three plays a week since 31 August is 31 December."""
    talk_through(visitor)
    facts = {"level": "recreational", "plays_per_week": 3, "strung_on": "2026-08-31"}
    facts |= {"mains_material": "synthetic_gut", "crosses_material": "synthetic_gut"}
    decision = decide_facts(facts, settings_of(club))
    assert decision["restring_by"] == "2026-12-31"
    assert visitor.heading == "Play on"
    assert "Restring by 31 December 2026" in visitor.text
    assert "As a rule: every four months" in visitor.text
    for step in decision["trail"]:
        assert step["says"] in visitor.text
        assert step["row"] not in visitor.text, "ids of rows are for whoever writes the rulebook"
        assert step["source"] in visitor.text


def test_the_card_gives_three_reasons_and_the_words_they_rest_on(visitor: Visitor) -> None:
    """Why in three lines; the reasoning quotes what was said."""
    talk_through(visitor)
    why = re.search(r'(?s)<ul class="why">(.*?)</ul>', visitor.page.text)
    assert why
    assert why[1].count("<li>") == 3
    assert "<q>three times a week</q>" in visitor.page.text


def test_a_question_shows_how_far_one_is_and_goes_back(visitor: Visitor) -> None:
    """Progress counts what is known against what the rules still ask; back opens the last question again."""
    visitor.look("/")
    visitor.say("When should I restring?")
    first = visitor.heading
    assert 'value="0"' in visitor.page.text
    assert "go back" not in visitor.page.text
    visitor.say("just for fun")
    assert visitor.heading != first
    assert re.search(r'<progress[^>]* max="(\d)" value="1"', visitor.page.text)
    assert "For fun" in visitor.text
    visitor.say("go back")
    assert visitor.heading == first


def test_what_if_decides_again_and_keeps_the_answer(visitor: Visitor) -> None:
    """Six plays a week in matches is another answer; the card stays as it was."""
    talk_through(visitor)
    token = visitor.token
    part = visitor.client.post(
        "/what-if", data={"token": token, "plays": "6", "level": "recreational"}, headers={"X-Part": "1"}
    )
    assert "Restring now" in part.text
    assert "every two months" in part.text
    same = visitor.client.post(
        "/what-if", data={"token": token, "plays": "3", "level": "recreational"}, headers={"X-Part": "1"}
    )
    assert "Nothing would change." in same.text
    assert "Play on" in visitor.look("/").text


@pytest.mark.parametrize("fields", [{"plays": "many"}, {"plays": "400"}, {"plays": "nan"}, {"level": "champion"}])
def test_what_if_refuses_nonsense(visitor: Visitor, fields: dict[str, str]) -> None:
    """A value outside the limits is answered with a plain page, not a fault."""
    talk_through(visitor)
    assert visitor.send("/what-if", **fields).status_code == 400


def test_the_date_can_be_taken_along_as_a_calendar_event(visitor: Visitor) -> None:
    """A second library reads the event of the day; it holds no name and nobody's words."""
    talk_through(visitor)
    answer = visitor.client.get("/date.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    event = icalendar.Calendar.from_ical(answer.text).walk("VEVENT")[0]
    assert event.decoded("dtstart") == dt.date(2026, 12, 31)
    assert str(event["summary"]) == "Restring racquet"


def test_a_day_that_has_passed_is_not_taken_along(visitor: Visitor) -> None:
    """Restring now: there is no appointment to put in a calendar."""
    talk_through(visitor, "on the 1st of March 2026")
    assert visitor.heading == "Restring now"
    assert "Take the date along" not in visitor.text
    assert visitor.client.get("/date.ics").status_code == 404
    assert visitor.client.get("/date.svg").status_code == 404


def test_without_an_answer_there_is_no_date_to_take(visitor: Visitor) -> None:
    """The file belongs to the answer on the screen."""
    visitor.look("/")
    assert visitor.client.get("/date.ics").status_code == 404


def test_the_first_screen_begins_however_long_it_stood_there(visitor: Visitor, shop: Shop) -> None:
    """Its cookie has run out by then; another page's form does not begin anything."""
    visitor.look("/")
    old = Sessions(shop.secret, clock=lambda: time.time() - 36_000)
    visitor.client.cookies.set("kiosk", old.write_talk(old.begin_talk()), domain="127.0.0.1", path="/")
    start = re.search(r'name="start" value="([^"]+)"', visitor.page.text)
    assert start
    assert visitor.send("/talk", text="hello").status_code == 403
    visitor.client.cookies.set("kiosk", old.write_talk(old.begin_talk()), domain="127.0.0.1", path="/")
    assert visitor.client.post("/talk", data={"start": start[1], "text": ANSWERS[0]}).status_code == 200


def test_a_conversation_left_alone_is_not_taken_up_by_the_next_person(visitor: Visitor, shop: Shop) -> None:
    """Even where the browser never cleared itself: minutes later the cookie opens nothing."""
    talk_through(visitor)
    read = Sessions(shop.secret).read_talk(visitor.client.cookies["kiosk"])
    assert read
    old = Sessions(shop.secret, clock=lambda: time.time() - 600)
    visitor.client.cookies.set("kiosk", old.write_talk(read), domain="127.0.0.1", path="/")
    visitor.look("/")
    assert visitor.heading == "When should I restring?"
    assert "31 December" not in visitor.page.text


def test_any_worker_takes_the_next_turn(club: Path) -> None:
    """Two servers on one database and one secret: a conversation goes on at the other one, and its answer is there."""
    secret = b"one secret for both of the servers"
    with (
        real_shop(club, secret=secret) as first,
        real_shop(club, secret=secret) as second,
        running(first) as one,
        running(second) as two,
        Visitor(one) as visitor,
    ):
        visitor.look("/")
        for text in (*ANSWERS, "on the 31st of August 2026"):
            visitor.client.base_url = two if str(visitor.client.base_url).startswith(one) else one
            assert visitor.say(text).status_code == 200
        assert "Restring by 31 December 2026" in visitor.text
        visitor.client.base_url = two if str(visitor.client.base_url).startswith(one) else one
        visitor.look("/")
        assert visitor.heading == "Play on"
        assert "31 December 2026" in visitor.text
        assert visitor.client.get("/date.ics").status_code == 200


def test_clearing_forgets_the_conversation(visitor: Visitor) -> None:
    """After the screen cleared, the same browser starts afresh under another key, and the old answer is gone."""
    talk_through(visitor)
    before = visitor.client.cookies["kiosk"]
    visitor.send("/clear")
    assert visitor.client.cookies["kiosk"] != before
    assert visitor.look("/").status_code == 200
    assert visitor.heading == "When should I restring?"
    assert "31 December" not in visitor.page.text
    visitor.say("When should I restring?")
    assert "Question 1" in visitor.text


def test_two_kiosks_never_mix(shop: Shop) -> None:
    """Each browser hears its own words only."""
    with running(with_turn(shop, EchoTurn())) as base, Visitor(base) as one, Visitor(base) as two:
        one.look("/")
        two.look("/")
        one.say("alpha")
        two.say("beta")
        one.say("gamma")
        assert "alpha | gamma" in one.text
        assert "beta" not in one.text
        assert two.text.count("beta") == 1


def test_a_stolen_key_without_its_signature_opens_nothing(visitor: Visitor, base: str) -> None:
    """A cookie that was not signed here is no conversation."""
    talk_through(visitor)
    key = visitor.client.cookies["kiosk"].split(".")[0]
    for forged in (key, f"{key}.", f"{key}.AAAA", "kiosk", "ü.ü"):
        answer = httpx.get(f"{base}/", headers={"Cookie": f"kiosk={forged}".encode()})
        assert "31 December" not in answer.text
        assert "When should I restring?" in answer.text


def test_too_long_a_text_is_cut_and_too_big_a_body_refused(visitor: Visitor) -> None:
    """Neither breaks the conversation."""
    visitor.look("/")
    assert visitor.say("just for fun " + "x" * 5000).status_code == 200
    token = visitor.token
    big = visitor.client.post("/talk", data={"token": token, "text": "x" * 100_000})
    assert big.status_code == 413
    assert "Traceback" not in big.text
    assert visitor.say("twice a week").status_code == 200


def test_a_racquet_comes_up_by_its_tag(visitor: Visitor, club: Path) -> None:
    """However the tag is typed; the card shows the strings' verdict and nobody's name or number."""
    tag = tag_of(club, "blue frame")
    visitor.look("/")
    visitor.look("/racquet")
    visitor.send("/racquet", tag=f"{tag[:3].lower()}-{tag[3:]}")
    assert visitor.heading.startswith("Restring now")
    assert "blue frame" in visitor.text
    for private in ("Tobias", "Wren", "555"):
        assert private not in visitor.page.text
    assert tag not in str(visitor.page.url)


def test_a_racquet_comes_up_by_name_and_number_together(visitor: Visitor, club: Path) -> None:
    """Neither alone; somebody with several racquets is asked which."""
    with open_counter(settings_of(club)) as counter:
        change_customer(counter, customer_id(club, "Maya Okoro"), CustomerDraft(phone="(202) 555-0142"))
    visitor.look("/")
    visitor.look("/racquet")
    for fields in ({"name": "Maya Okoro"}, {"tail": "0142"}, {"name": "Maya Okoro", "tail": "142"}):
        assert visitor.send("/racquet", **fields).status_code == 422
    assert "Nothing was found" in visitor.send("/racquet", name="Maya Okoro", tail="0143").text
    visitor.send("/racquet", name="maya okoro", tail="0142")
    assert visitor.heading == "Which racquet?"
    pick = re.search(r'name="pick" value="(\d+)">red frame', visitor.page.text)
    assert pick
    visitor.send("/racquet", pick=pick[1])
    assert "This racquet lies ready to be picked up." in visitor.text
    assert "Okoro" not in visitor.text


def test_a_number_that_was_not_offered_cannot_be_picked(visitor: Visitor) -> None:
    """Counting racquets through brings up nobody's."""
    visitor.look("/")
    visitor.look("/racquet")
    for number in range(1, 6):
        answer = visitor.send("/racquet", pick=number)
        assert answer.status_code == 422
        assert 'class="card' not in answer.text


def test_guessing_tags_ends_after_a_few(visitor: Visitor) -> None:
    """Then even a right one waits."""
    visitor.look("/")
    visitor.look("/racquet")
    codes = [visitor.send("/racquet", tag=f"{number:06}").status_code for number in range(222222, 222230)]
    assert codes == [422] * 6 + [429] * 2


def test_the_kiosk_knows_no_customer_and_changes_no_card(visitor: Visitor, club: Path) -> None:
    """Asked for somebody's racquet, for the due list or to take one in, it sends people to the counter."""
    visitor.look("/")
    for text in ("picking up for Maya", "who is due this week?", "dropping off a racquet for Tobias Wren"):
        visitor.say(text)
        assert "somebody at the counter" in visitor.text, text
        for name in ("Okoro", "Wren", "red frame", "blue frame", "Delacroix"):
            assert name not in visitor.text
    talk_through(visitor)
    assert "under a name" not in visitor.text
    visitor.say("keep this under Maya Okoro")
    assert "Okoro" not in visitor.text.replace("keep this under Maya Okoro", "")
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        assert {row.who for row in unit.trail.latest(3)} == {"counter"}
        assert len(unit.customers.named("Maya Okoro")) == 1
        assert len(unit.racquets.of_customer(unit.customers.named("Maya Okoro")[0].id)) == 2


def test_the_kiosk_works_on_an_empty_database(tmp_path: Path) -> None:
    """Nobody has to set anything up to ask when to restring."""
    with real_shop(tmp_path / "new.sqlite3") as shop, running(shop) as base, Visitor(base) as visitor:
        talk_through(visitor)
        assert visitor.heading == "Play on"


def test_kiosk_only_has_no_board(club: Path) -> None:
    """Neither its pages nor a link to them."""
    with real_shop(club, kiosk_only=True) as shop, running(shop) as base, Visitor(base) as visitor:
        assert "/board" not in visitor.look("/").text
        assert visitor.look("/board/").status_code == 404
        assert visitor.look("/board/sign-in").status_code == 404


def tag_of(club: Path, nickname: str) -> str:
    """Return the tag of the newest stringing of the racquet of this name."""
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        racquet = next(row for row in unit.racquets.all() if row.nickname == nickname)
        job = unit.jobs.latest_of(racquet.id)
        assert job
        return job.tag


def customer_id(club: Path, name: str) -> int:
    """Return the number of the first customer of this name."""
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        return unit.customers.named(name)[0].id


def test_the_day_of_the_tests_is_the_shop_s(shop: Shop) -> None:
    """Else every date above would be another one."""
    assert shop.today() == TODAY
