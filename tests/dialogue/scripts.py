"""Scripted conversations: YAML in, turns played on a real store with the real rulebook."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from dialogue.conversation import Conversation
from dialogue.messages import Message, Reply
from dialogue.services import Services
from dialogue.understanding import understand
from rules.rulebook import Rulebook, build_book, load_book
from storage.database import Store, open_store
from storage.rows import CatalogueProductRow, CustomerRow, RacquetRow, ReadingRow, StringJobRow

FOLDER = Path(__file__).parent / "conversations"
KNOWN_KEYS = {"name", "today", "channel", "record", "turns", "stored", "own", "catalogue"}
KNOWN_TURN_KEYS = {
    "say",
    "asked",
    "contains",
    "lacks",
    "facts",
    "not_known",
    "decision",
    "choices",
    "ended",
    "speech",
    "today",
}


@dataclass(frozen=True)
class Script:
    """One conversation and what is expected of it."""

    file: str
    data: Mapping[str, Any]

    def __str__(self) -> str:
        return f"{self.file}: {self.data['name']}"


def read_scripts() -> Iterator[Script]:
    """Yield every script; a key nobody reads is a mistake."""
    for path in sorted(FOLDER.glob("*.yaml")):
        for entry in yaml.safe_load(path.read_text(encoding="utf-8")):
            strange = set(entry) - KNOWN_KEYS | {key for turn in entry["turns"] for key in set(turn) - KNOWN_TURN_KEYS}
            assert not strange, f"{path.name}: {entry['name']}: unknown keys {strange}"
            yield Script(path.stem, entry)


def build_conversation(store: Store, own: Mapping[str, Any] | None = None) -> Conversation:
    """Return a conversation on a store, with rows of the shop's own; an error ends the test instead of an apology."""
    return Conversation(Services(store, _book_with(own) if own else load_book()), understand, strict=True)


def _book_with(own: Mapping[str, Any]) -> Rulebook:
    content = copy.deepcopy(dict(load_book().content))
    (table,) = content["own.yaml"]["tables"]
    table["rows"] = own["rows"]
    table["inputs"]["group"]["one_of"] = own.get("groups", table["inputs"]["group"]["one_of"])
    return build_book(content)


def open_test_store() -> Store:
    """Return an empty database in memory."""
    return open_store("sqlite://")


def seed(store: Store, record: list[Mapping[str, Any]], catalogue: list[Mapping[str, Any]] | None = None) -> None:
    """Store the customers that a script begins with, and the strings the shop sells."""
    with store.unit("test") as unit:
        for product in catalogue or ():
            unit.catalogue.add(CatalogueProductRow(**product))
        for entry in record:
            racquets = entry.get("racquets", [])
            customer = unit.customers.add(CustomerRow(**{k: v for k, v in entry.items() if k != "racquets"}))
            for racquet in racquets:
                frame = {name: value for name, value in racquet.items() if name not in {"job", "readings"}}
                row = unit.racquets.add(RacquetRow(customer_id=customer.id, **frame))
                job = unit.jobs.add(StringJobRow(racquet_id=row.id, **racquet["job"])) if "job" in racquet else None
                for reading in racquet.get("readings", []):
                    assert job is not None
                    values = tuple(reading["values"])
                    unit.readings.add(ReadingRow(job_id=job.id, **{**reading, "values": values}))
        unit.commit()


def play(script: Mapping[str, Any], conversation: Conversation) -> Iterator[tuple[Mapping[str, Any], Reply]]:
    """Yield each turn with its last reply."""
    for turn in script["turns"]:
        today = turn.get("today") or script["today"]
        assert isinstance(today, dt.date)
        message = Message(turn["say"], "script", channel=script.get("channel", "typed"), today=today)
        yield turn, conversation.handle(message)[-1]


def differences(turn: Mapping[str, Any], reply: Reply) -> list[str]:
    """Return where a reply is not as the script expects, in words."""
    shown = " | ".join(reply.text)
    found = [f"no {text!r} in {shown!r}" for text in turn.get("contains", ()) if text.lower() not in shown.lower()]
    found += [f"{text!r} in {shown!r}" for text in turn.get("lacks", ()) if text.lower() in shown.lower()]
    if "asked" in turn and reply.asked != turn["asked"]:
        found.append(f"asked {reply.asked!r}, not {turn['asked']!r}, with {shown!r}")
    if "speech" in turn and turn["speech"].lower() not in reply.speech.lower():
        found.append(f"no {turn['speech']!r} in speech {reply.speech!r}")
    if "choices" in turn:
        texts = [choice.text for choice in reply.choices]
        found += [f"no choice {text!r} in {texts}" for text in turn["choices"] if text not in texts]
    for fact, value in turn.get("facts", {}).items():
        if reply.facts.get(fact) != value:
            found.append(f"fact {fact} is {reply.facts.get(fact)!r}, not {value!r}")
    found += [f"fact {fact} is known" for fact in turn.get("not_known", ()) if fact in reply.facts]
    if "ended" in turn and reply.ended != turn["ended"]:
        found.append(f"ended is {reply.ended}")
    return found + _decision_differences(turn, reply)


def _decision_differences(turn: Mapping[str, Any], reply: Reply) -> list[str]:
    if "decision" not in turn:
        return []
    if turn["decision"] is None or reply.decision is None:
        return [] if turn["decision"] is reply.decision else [f"decision is {reply.decision}"]
    return [
        f"decision {key} is {reply.decision[key]!r}, not {value!r}"
        for key, value in turn["decision"].items()
        if reply.decision[key] != value
    ]
