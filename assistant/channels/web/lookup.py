"""Brings up one racquet at the kiosk: by its tag, or by a name together with the end of a phone number."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from assistant.channels.web.shop import Shop
from assistant.channels.web.talks import Talk
from assistant.channels.web.wording import figure, load_words, say
from dialogue.counter.customers import strings_in
from dialogue.counter.evidence import open_case, read_facts, with_label
from dialogue.counter.pickup import tell_strings

NOBODY = "kiosk"
"""Who the kiosk is at the counter; it writes nothing."""


@dataclass(frozen=True)
class Asked:
    """What somebody gave to bring up a racquet."""

    tag: str = ""
    name: str = ""
    tail: str = ""
    """The last digits of the phone number."""

    @classmethod
    def read(cls, form: Mapping[str, Any]) -> Asked:
        """Return what the form holds."""
        most = figure("text_characters")
        tag, name, tail = (str(form.get(field) or "")[:most].strip() for field in ("tag", "name", "tail"))
        return cls(re.sub(r"[\W_]", "", tag).upper(), name, re.sub(r"\D", "", tail))

    @property
    def complete(self) -> bool:
        """Whether it is enough to look anything up."""
        by_tag = len(self.tag) == figure("tag_characters")
        return by_tag or bool(not self.tag and self.name and len(self.tail) >= figure("tail_digits"))


@dataclass(frozen=True)
class Option:
    """One of an owner's racquets."""

    racquet_id: int
    name: str


def look_up(shop: Shop, asked: Asked) -> tuple[Option, ...]:
    """Return the racquets that the tag names, or that belong to the one person of that name and number."""
    counter = shop.counter(NOBODY)
    with counter.look() as unit:
        if asked.tag:
            job = unit.jobs.by_tag(asked.tag)
            return (Option(job.racquet_id, ""),) if job else ()
        likely = [hit for hit in unit.customers.sounding_like(asked.name) if hit.score >= figure("name_likeness")]
        owners = [hit.customer for hit in likely if re.sub(r"\D", "", hit.customer.phone or "").endswith(asked.tail)]
        if len(owners) != 1:
            return ()
        racquets = unit.racquets.of_customer(owners[0].id)[: figure("racquets_shown")]
        named: list[Option] = []
        for racquet in racquets:
            strings = strings_in(unit, racquet.id)
            name = racquet.nickname or (tell_strings(counter, strings) if strings else "")
            named.append(Option(racquet.id, name or say(load_words()["racquet"]["numbered"], n=len(named) + 1)))
        return tuple(named)


def bring_up(shop: Shop, option: Option) -> Talk | None:
    """Return a racquet's strings as what the kiosk shows of them, or None where nothing is known."""
    counter = shop.counter(NOBODY)
    with counter.look() as unit:
        racquet = unit.racquets.get(option.racquet_id)
        latest = unit.jobs.latest_of(racquet.id)
        job = strings_in(unit, racquet.id)
        status = _tell_status(latest, counter.wording.words.date) if latest else ""
        if job is None:
            return Talk(text=(status,), speech=status, asked=None, choices=(), on_record=True) if status else None
        facts = with_label(read_facts(counter, unit, open_case(unit, job)), job, counter).to_dict()
    decision = shop.suppose(facts, {}, counter.today)
    if "error" in decision:
        return None
    return Talk(
        text=(status,) if status else (),
        speech=status,
        asked=None,
        choices=(),
        facts=facts,
        told=tuple(shop.tell_facts(facts)),
        decision=decision,
        on_record=True,
        racquet=racquet.nickname or "",
    )


def _tell_status(job: Any, say_day: Any) -> str:
    """Return how far a racquet in the shop has come, or nothing for one that its owner has."""
    words = load_words()["racquet"]
    promised: dt.date | None = job.promised_on
    key = f"status_{job.status}"
    if promised and f"{key}_promised" in words:
        return say(words[f"{key}_promised"], day=say_day(promised))
    return str(words.get(key, ""))
