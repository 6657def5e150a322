"""The conversation as events: what they change, how they are taken back, folded, and shown to rasa-sdk."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from rasa_sdk.events import (
    ActionExecuted,
    ActiveLoop,
    AllSlotsReset,
    BotUttered,
    FollowupAction,
    Restarted,
    SessionEnded,
    SessionStarted,
    SlotSet,
    UserUtteranceReverted,
    UserUttered,
)
from rasa_sdk.events import ActionExecutionRejected as Rejected

from dialogue.tracker import EVENTS_KEPT, LISTEN, Event, Talk, rewound

INITIAL = {"level": None, "requested_slot": None, "racquet_key": "r1", "pending": [], "told": False, "sealed": 0}


def turn(asked: str | None, **slots: Any) -> list[Event]:
    """Return the events of one turn that sets some slots and ends with a question."""
    values = {**slots, "requested_slot": asked}
    sets = [SlotSet(name, value) for name, value in values.items()]
    return [UserUttered("words"), ActionExecuted("action_x"), *sets, BotUttered("?", {}), ActionExecuted(LISTEN)]


def test_each_kind_of_event_changes_what_it_names() -> None:
    """Slots, form, action and session follow the events; a strange event changes nothing."""
    talk = Talk("s", INITIAL)
    talk.apply([SessionStarted(), UserUttered("hi", {"intent": {"name": "greet"}}), SlotSet("level", "competitive")])
    assert talk.latest_message == {"intent": {"name": "greet"}}
    assert talk.slots["level"] == "competitive"
    talk.apply([ActiveLoop("consultation_form"), FollowupAction("action_next"), {"event": "strange"}])
    assert (talk.loop, talk.followup) == ("consultation_form", "action_next")
    talk.apply([ActionExecuted("action_next"), Rejected("consultation_form")])
    assert (talk.latest_action, talk.followup, talk.active_loop["rejected"]) == ("action_next", None, True)
    talk.apply([AllSlotsReset(), ActiveLoop(None), SessionEnded()])
    assert (talk.slots, talk.loop, talk.ended) == (INITIAL, None, True)


def test_a_restart_forgets_everything_before_it() -> None:
    """After a restart only what follows is kept and counted."""
    talk = Talk("s", INITIAL, [*turn("level"), Restarted(), UserUttered("again")])
    assert talk.turns == 1
    assert talk.slots == INITIAL
    assert talk.to_store() == [UserUttered("again")]


def test_taking_a_turn_back_gives_the_state_before_it() -> None:
    """A rewound turn leaves no trace in slots, turns or questions."""
    first, second = turn("level"), turn("mains_material", level="competitive")
    talk = Talk("s", INITIAL, [*first, *second, UserUttered("back")])
    assert talk.turns_back() == 2
    talk.apply([UserUtteranceReverted(), UserUtteranceReverted()])
    assert talk.slots["level"] is None
    assert talk.slots["requested_slot"] == "level"
    assert talk.turns == 1


def test_back_passes_over_turns_that_left_the_question_open() -> None:
    """A digression in between asked the same thing again; back goes to the question before."""
    turns = [*turn("level"), *turn("mains_material", level="competitive"), *turn("mains_material")]
    assert Talk("s", INITIAL, [*turns, UserUttered("back")]).turns_back() == 3


def test_back_stops_at_what_was_written_on_a_card() -> None:
    """Nothing said before a card was written can be taken back."""
    turns = [*turn("level"), *turn("customer_name", sealed=1), *turn("strung_on")]
    assert Talk("s", INITIAL, [*turns, UserUttered("back")]).turns_back() == 2
    assert Talk("s", INITIAL, [*turns[: -len(turn(None))], UserUttered("back")]).turns_back() == 0


def test_a_long_conversation_is_folded_into_its_state() -> None:
    """A kiosk that never starts over keeps its state, its form and its last words, not thousands of events."""
    talk = Talk("s", INITIAL, [ActiveLoop("consultation_form")])
    for _ in range(EVENTS_KEPT):
        talk.apply(turn("level", level="competitive"))
    folded = talk.to_store()
    assert len(folded) < 10
    again = Talk("s", INITIAL, folded)
    assert (again.slots, again.loop, again.last_reply()) == (talk.slots, talk.loop, {})


kinds = st.one_of(
    st.sampled_from([SessionStarted(), ActionExecuted(LISTEN), ActionExecuted("action_x"), BotUttered("hello", {})]),
    st.builds(UserUttered, st.text(max_size=5)),
    st.builds(SlotSet, st.sampled_from(sorted(INITIAL)), st.sampled_from([None, "x", 1, []])),
    st.builds(UserUtteranceReverted),
    st.builds(Restarted),
)


@given(st.lists(kinds, max_size=30))
def test_the_state_is_what_rasa_sdk_reads_in_the_same_events(events: list[Event]) -> None:
    """rasa_sdk's own tracker applies restarts and rewinds to the same events as we do."""
    talk = Talk("s", INITIAL, events)
    assert talk.to_sdk().applied_events() == talk.to_store()
    assert Talk.from_sdk(talk.to_sdk(), INITIAL).slots == talk.slots


@given(st.lists(kinds, max_size=30))
def test_taking_back_never_adds_or_reorders(events: list[Event]) -> None:
    """What is left after a turn is taken back is a beginning of what there was."""
    left = rewound(events)
    assert events[: len(left)] == left


def test_an_action_sees_a_copy() -> None:
    """What the executor writes into its tracker does not reach the conversation."""
    talk = Talk("s", INITIAL, turn("level"))
    call = talk.call("action_x", {})
    call["tracker"]["slots"]["level"] = "changed"
    call["tracker"]["events"].append(SlotSet("level", "changed"))
    assert talk.slots["level"] is None
    assert len(talk.to_store()) == len(turn("level"))
