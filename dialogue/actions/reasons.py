"""What is said when somebody asks on about the reasons: from the facts and the decision kept; decides nothing."""

from __future__ import annotations

from collections.abc import Mapping

from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import today
from dialogue.options import asks_for_sooner
from dialogue.phrases import VOICE
from dialogue.racquets import known_facts
from dialogue.services import Services

LINES = 3
"""How many lines on what might be are told; the nearest come first."""
WHY_NOT, WHY_NOT_PLAY_ON, WHAT_WOULD_CHANGE, SOURCES = "why_not", "why_not_play_on", "what_would_change", "sources"
TRAINEE = "trainee"
DEPTHS: Mapping[str, str] = {"short": "customer", TRAINEE: "trainee"}
"""For whom it is told, by what was asked for; the trail in between has words of its own."""


def further_lines(services: Services, tracker: Tracker) -> tuple[str, ...] | None:
    """Return the lines that answer a question about the reasons, or None where plain "why" was asked."""
    operations = tracker.latest_message.get("operations", ())
    facts, decision, day = known_facts(tracker.slots), tracker.slots["decision"], today(tracker)
    if WHY_NOT_PLAY_ON in operations:
        return services.why_not_play_on(facts, day)[:LINES]
    if WHY_NOT in operations:
        return services.why_not(facts, day, sooner=asks_for_sooner(tracker.latest_message["text"]))[:LINES]
    if WHAT_WOULD_CHANGE in operations:
        return services.what_would_change(facts, day)[:LINES]
    spoken = tracker.get_latest_input_channel() == VOICE
    if SOURCES in operations:
        return services.who_says_so(decision, spoken=spoken)
    # Aloud a trainee hears the sentences of the trail: names of rows and facts are for the eye.
    depth = next((DEPTHS[name] for name in operations if name in DEPTHS and not (spoken and name == TRAINEE)), None)
    return services.told_for(decision, depth) if depth else None
