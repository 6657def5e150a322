"""The conversation so far as Rasa events, and the state that follows from them; knows no rule and no phrase."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rasa_sdk.events import ActionExecuted, ActiveLoop, SessionStarted, SlotSet
from rasa_sdk.interfaces import Tracker
from rasa_sdk.types import TrackerState

Event = dict[str, Any]

LISTEN = "action_listen"
EVENTS_KEPT = 600
"""A longer conversation is folded into its present state, so that a kiosk may run all day."""


class Talk:
    """One conversation: the events, and everything that can be derived from them."""

    def __init__(self, sender_id: str, initial: Mapping[str, Any], events: Iterable[Event] = ()) -> None:
        self.sender_id = sender_id
        self._initial = dict(initial)
        self.events: list[Event] = []
        self._begin()
        self.apply(events)

    def _begin(self) -> None:
        self.slots: dict[str, Any] = dict(self._initial)
        self.latest_message: dict[str, Any] = {}
        self.active_loop: dict[str, Any] = {}
        self.latest_action: str | None = None
        self.followup: str | None = None
        self.ended = False
        self.turns = 0
        self._applied: list[Event] = []
        self._questions: list[Any] = []

    @property
    def loop(self) -> str | None:
        """The form that is being filled, if any."""
        return self.active_loop.get("name")

    def slot(self, name: str) -> Any:
        """Return the value of a slot of the domain."""
        return self.slots[name]

    def apply(self, events: Iterable[Event]) -> None:
        """Append events and let each change the state; events of an unknown kind change nothing."""
        for event in events:
            self.events.append(event)
            if event["event"] == "restart":
                self._begin()
            elif event["event"] == "rewind":
                self._replay(rewound(self._applied))
            else:
                self._applied.append(event)
                self._change(event)

    def _replay(self, applied: Sequence[Event]) -> None:
        self._begin()
        for event in applied:
            self._applied.append(event)
            self._change(event)

    def _change(self, event: Event) -> None:
        kind = event["event"]
        if kind == "slot":
            self.slots[event["name"]] = event["value"]
        elif kind == "user":
            self.turns += 1
            self.latest_message = event.get("parse_data") or {}
        elif kind == "action":
            self.latest_action = event["name"]
            self.followup = None
            if event["name"] == LISTEN:
                self._questions.append((self._question(), self.slots.get("sealed")))
        elif kind == "active_loop":
            self.active_loop = {"name": event["name"]} if event["name"] else {}
        elif kind == "followup":
            self.followup = event["name"]
        elif kind == "reset_slots":
            self.slots = dict(self._initial)
        elif kind == "action_execution_rejected":
            self.active_loop = {**self.active_loop, "rejected": True} if self.active_loop else {}
        elif kind in {"session_started", "session_ended"}:
            self.ended = kind == "session_ended"

    def _question(self) -> Any:
        """Return what tells one open question from another."""
        slots = self.slots
        return (slots.get("requested_slot"), slots.get("racquet_key"), bool(slots.get("pending")), slots.get("told"))

    def turns_back(self) -> int:
        """Return how many turns, this one included, lead back to another open question; 0 where there is none.

        What was written on a card is not taken back by talk, so nothing before it is either.
        """
        now, sealed = self._question(), self.slots.get("sealed")
        for turns, (question, seal) in enumerate(reversed(self._questions), 1):
            if seal != sealed:
                return 0
            if question != now and question[0]:
                return turns
        return 0

    def last_reply(self) -> Mapping[str, Any] | None:
        """Return the data of the last thing said, or None where nothing was said yet."""
        for event in reversed(self._applied):
            if event["event"] == "bot":
                return event.get("data") or {}
        return None

    def call(self, action: str, domain: Mapping[str, Any]) -> dict[str, Any]:
        """Return the request that makes an executor run an action on a copy of the state."""
        return {
            "next_action": action,
            "sender_id": self.sender_id,
            "tracker": self._state(self._this_turn()),
            "domain": domain,
        }

    def _this_turn(self) -> list[Event]:
        """Return the events since the last words of a person: all that an action may look back on."""
        for index in range(len(self._applied) - 1, -1, -1):
            if self._applied[index]["event"] == "user":
                return self._applied[index:]
        return self._applied[:]

    def _state(self, events: list[Event]) -> TrackerState:
        # The executor sets slots and appends events in what it is given; it changes no value in place, and no
        # action may: a copy of the two holders is enough, and a twentieth of the time of a deep one.
        return {
            "sender_id": self.sender_id,
            "slots": dict(self.slots),
            "latest_message": self.latest_message,
            "events": list(events),
            "paused": False,
            "followup_action": self.followup,
            "active_loop": dict(self.active_loop),
            "active_form": dict(self.active_loop),
            "latest_action_name": self.latest_action,
            "stack": [],
            "user_id": None,
        }

    def to_sdk(self) -> Tracker:
        """Return the same conversation as a rasa-sdk tracker."""
        return Tracker.from_dict(self._state(self.events))

    @classmethod
    def from_sdk(cls, tracker: Tracker, initial: Mapping[str, Any]) -> Talk:
        """Return the conversation that a rasa-sdk tracker holds."""
        return cls(tracker.sender_id, initial, tracker.events)

    def to_store(self) -> list[Event]:
        """Return the events to keep: all since the last restart, folded into slots where they became too many."""
        if len(self._applied) <= EVENTS_KEPT:
            return self._applied[:]
        folded: list[Event] = [SessionStarted()]
        folded += [SlotSet(name, value) for name, value in self.slots.items() if value != self._initial.get(name)]
        if self.loop:
            folded.append(ActiveLoop(self.loop))
        folded += [event for event in self._applied if event["event"] == "bot"][-1:]
        return [*folded, ActionExecuted(LISTEN)]


def rewound(events: Sequence[Event]) -> list[Event]:
    """Return the events without the last turn and the action before it, as Rasa's own trackers take one back."""
    left = list(events)
    for kind in ("user", "action"):
        while left:
            if left.pop()["event"] == kind:
                break
    return left
