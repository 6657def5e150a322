"""What to do next, from the conversation and what this turn already did; pure, and knows no rule or phrase."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dialogue.advising import ADVISABLE, ADVISED_FIRST, BEGINS, WEIGHS, explains_advice, open_advice
from dialogue.intake import NO_VALUE_INTENTS, UNNOTED, answers_the_question, asks_back, brings_values, claims, intent_of
from dialogue.options import chosen, none_of_them
from dialogue.racquets import FACTS, all_racquets
from dialogue.tracker import LISTEN, Talk

TAKE_IN = "action_take_in"
PRACTISE = "action_practise"
RIDE = "action_ride_along"
ASK = "action_ask"
CONSULT, KEEP, PICKUP, READING, DROP_OFF, STRUNG, LABEL, ADVICE, FEEL, FORGET = (
    "consultation_form",
    "keep_form",
    "pickup_form",
    "reading_form",
    "drop_off_form",
    "strung_form",
    "label_form",
    "advice_form",
    "feel_form",
    "forget_form",
)
SUBMIT: Mapping[str, str] = {
    KEEP: "action_keep",
    PICKUP: "action_hand_over",
    READING: "action_log_reading",
    DROP_OFF: "action_drop_off",
    STRUNG: "action_mark_strung",
    LABEL: "action_show_label",
    ADVICE: "action_tell_advice",
    FEEL: "action_tell_feel",
    FORGET: "action_forget_contact",
}
"""What a filled form leads to."""
LOOK_OVER = "action_look_over"
NEXT_RACQUET = "action_next_racquet"
STEERING: Mapping[str, str] = {
    "restart": "action_restart",
    "stop": "action_stop",
    "back": "action_back",
    "repeat": "action_repeat",
}
LAST_WORD = frozenset(
    {
        "action_stop",
        PRACTISE,
        "action_repeat",
        "action_take_back",
        ASK,
        "action_read_back",
        "action_ask_back",
        "action_ask_which",
        "action_offer",
    }
)
"""After these it is the person's turn."""
DIGRESSIONS: Mapping[str, str] = {
    "thanks": "utter_thanks",
    "ask_guarantee": "utter_guarantee",
    "ask_reading_help": "utter_reading_help",
    "human": "action_call_staff",
    "out_of_scope": "action_out_of_scope",
    "ask_due_list": "action_tell_due",
    "ask_next": "action_tell_bench",
    "ask_what_if": "action_what_if",
    "ask_why": "action_explain",
    "ask_why_question": "action_explain_question",
}
TASKS: Mapping[str, str] = {
    "pickup": PICKUP,
    "drop_off": DROP_OFF,
    "mark_strung": STRUNG,
    "ask_label": LABEL,
    "forget_contact": FORGET,
}
CONSULTING = frozenset({"inform", "correct", "affirm", "deny", "dont_know", "ask_when", "greet", "restart", "back"})
"""With these somebody starts, or goes on with, a consultation."""
NONE_IS_AN_ANSWER = frozenset(
    {
        "label_due",
        "league_start",
        "baseline",
        "reading",
        "season",
        "customer_phone",
        "customer_name",
        "promised_on",
        "printed_range",
        "customer_email",
        "hours_per_play",
        "hours_per_week",
        "breaks_strings",
        "symptoms",
        "group",
    }
)
"""Asked for these, a bare "no" means that there is none."""
UNREAD = frozenset({"act.none", "guard.noise"})
"""The rules under which understanding gives up: words outside the trade have rules of their own."""
FRAME_DAMAGE = "act.frame_damage"
"""The cue that hears of a damaged frame."""
SILENT = frozenset(
    {
        TAKE_IN,
        CONSULT,
        KEEP,
        PICKUP,
        READING,
        DROP_OFF,
        STRUNG,
        LABEL,
        FORGET,
        "action_settle",
        "action_decide",
        "action_operate",
        LOOK_OVER,
        NEXT_RACQUET,
        ADVICE,
        FEEL,
        *BEGINS.values(),
        *WEIGHS.values(),
        "action_answer_advice",
    }
)
"""These say nothing by themselves."""


def next_action(talk: Talk, done: Sequence[str]) -> str:
    """Return the name of the next action of this turn, or that it is time to listen.

    Args:
        talk: the conversation, with this turn's message and all that was done since applied to it.
        done: the actions of this turn so far, in order.
    """
    if done and done[-1] in LAST_WORD:
        return LISTEN
    if _practises(talk):
        return PRACTISE
    if _rides(talk) and (RIDE not in done or _waits_for_trainee(talk)):
        return LISTEN if RIDE in done else RIDE
    since = list(done)
    if RIDE in since:
        stages = [_go_on(talk, since)]
    elif NEXT_RACQUET in since:
        since = since[len(since) - since[::-1].index(NEXT_RACQUET) :]
        stages = [_go_on(talk, since)]
    else:
        stages = [_steer(talk), _settle(talk, since), _take_in(talk, since), _answer(talk, since), _go_on(talk, since)]
    for stage in stages:
        for action in stage:
            if action not in since:
                return action
    return LISTEN


def _practises(talk: Talk) -> bool:
    """Tell whether the turn belongs to a trainee's practice; what steers the talk does not."""
    intent = intent_of(talk.latest_message)
    if talk.slots["practice"]:
        return intent not in {"repeat", "restart"}
    return intent == "practise"


def _rides(talk: Talk) -> bool:
    """Tell whether the turn is a trainee's who answers first, or asks to."""
    intent = intent_of(talk.latest_message)
    return intent == "ride_along" or (_waits_for_trainee(talk) and intent not in STEERING)


def _waits_for_trainee(talk: Talk) -> bool:
    riding = talk.slots["riding"]
    return bool(riding and riding["stage"])


def open_question(slots: Mapping[str, Any]) -> str | None:
    """Return what is being asked: a slot, confirm, or None."""
    if slots["pending"]:
        return "confirm"
    if slots["asked_back"]:
        return str(slots["asked_back"]["slot"])
    if slots["options"]:
        return "customer_name"
    return slots["requested_slot"] or None


def _steer(talk: Talk) -> Iterator[str]:
    message = talk.latest_message
    action = STEERING.get(intent_of(message))
    if action and (intent_of(message) in NO_VALUE_INTENTS or not claims(message)):
        yield action
    if "undo" in message.get("operations", ()):
        yield "action_take_back" if talk.slots["written"] else "action_back"


def _settle(talk: Talk, done: Sequence[str]) -> Iterator[str]:
    """Yield what answers something that was read back, offered or put up for choice."""
    message, slots = talk.latest_message, talk.slots
    intent, found = intent_of(message), claims(message)
    if done:
        return
    if slots["options"]:
        none = intent in {"deny", "dont_know"} or none_of_them(message)
        if none or chosen(slots["options"], message) is not None:
            yield "action_choose"
    elif slots["pending"]:
        waiting = slots["pending"][0]["slot"]
        if intent in {"affirm", "deny", "dont_know"} or any(claim.slot == waiting for claim in found):
            yield "action_settle"
    elif _answers_advice(talk) and not found:
        yield "action_answer_advice"
    elif slots["offer"] and not slots["requested_slot"] and intent in {"affirm", "deny", "dont_know"} and not found:
        yield "action_answer_offer"


def _take_in(talk: Talk, done: Sequence[str]) -> Iterator[str]:
    """Yield what keeps the values of the turn."""
    message, slots = talk.latest_message, talk.slots
    if set(message.get("operations", ())) - {"undo"}:
        yield "action_operate"
    if slots["confirmed"] or asks_back(message) or (brings_values(message) and "action_choose" not in done):
        yield TAKE_IN
    if slots["product_choice"]:
        yield "action_which_product"
    errand = TASKS.get("" if answers_the_question(message) else intent_of(message))
    if errand and talk.loop != errand and not asks_back(message) and not _handed_in(done):
        yield errand
    if any(change["slot"] == "customer_name" for change in slots["noted"]) and not slots["customer"]:
        if slots["told"] and talk.loop is None:
            yield KEEP
        yield "action_find_customer"
    if _wants_advice(talk) and set(done) <= {TAKE_IN, "action_operate"}:
        yield BEGINS.get(intent_of(message), BEGINS["ask_advice"])
    elif _means_none(talk) and not done:
        yield "action_not_known"


def _wants_advice(talk: Talk) -> bool:
    """Tell whether advice on strings is asked for, or needed: nobody can string what nobody names."""
    slots, intent = talk.slots, intent_of(talk.latest_message)
    if slots["pending"] or slots["options"] or slots["asked_back"]:
        return False
    unsure = intent == "dont_know" and talk.loop == DROP_OFF and slots["requested_slot"] in ADVISABLE
    return intent in BEGINS or (unsure and not claims(talk.latest_message))


def _answers_advice(talk: Talk) -> bool:
    """Tell whether a bare yes or no is the answer to what was advised."""
    slots = talk.slots
    offered = talk.loop == DROP_OFF and slots["requested_slot"] in ADVISABLE and open_advice(slots)
    return bool(offered) and intent_of(talk.latest_message) in {"affirm", "deny"}


def _means_none(talk: Talk) -> bool:
    slots, message = talk.slots, talk.latest_message
    if slots["pending"] or slots["options"] or claims(message):
        return False
    asked = slots["requested_slot"]
    intent = intent_of(message)
    if slots["asked_back"]:
        return intent == "dont_know"
    return bool(asked) and (intent == "dont_know" or (intent == "deny" and asked in NONE_IS_AN_ANSWER))


def _answer(talk: Talk, done: Sequence[str]) -> Iterator[str]:
    """Yield what answers the person before the talk goes on."""
    message, slots = talk.latest_message, talk.slots
    intent = intent_of(message)
    if asks_back(message):
        return
    if _handed_in(done):
        return
    # Words that fill the slot asked for are an answer, even where they sound like another errand.
    errand = "" if answers_the_question(message) else intent
    if _logs(talk, errand) and talk.loop != READING:
        yield READING
    elif intent == "greet" and not done:
        yield "utter_greet_again" if _under_way(talk) else "utter_greet"
    elif intent in {"ask_why", "ask_why_question"} and explains_advice(slots, talk.loop):
        yield "action_explain_advice"
    elif intent in DIGRESSIONS and not _is_noise(talk, done):
        if "action_not_understood" not in done:
            yield DIGRESSIONS[intent]
    elif intent == "ask_when" and not done and open_question(slots):
        yield "utter_when_known"
    elif not done and open_question(slots):
        yield "action_not_understood"


def _handed_in(done: Sequence[str]) -> bool:
    """Tell whether an errand was finished in this turn."""
    return bool(set(SUBMIT.values()) & set(done))


def _is_noise(talk: Talk, done: Sequence[str]) -> bool:
    """Tell whether words outside the trade are a failed answer to an open question, with nothing kept from them."""
    message = talk.latest_message
    unread = message.get("rule") in UNREAD and intent_of(message) == "out_of_scope"
    return unread and not done and open_question(talk.slots) is not None


def _logs(talk: Talk, errand: str) -> bool:
    """Tell whether a reading is to go on a card: asked for in so many words, named with its owner, or at the bench."""
    if errand == "log_reading":
        return _meant_for_the_record(talk)
    found = {claim.slot for claim in claims(talk.latest_message)}
    if errand != "inform" or not found & {"reading", "baseline"} or found & (set(FACTS) - {"reading", "baseline"}):
        return False
    slots = talk.slots
    return bool("customer_name" in found or (slots["at_bench"] and slots["record"]))


def _meant_for_the_record(talk: Talk) -> bool:
    """Tell whether a reading is to be written on a card rather than weighed in the present consultation."""
    slots = talk.slots
    if slots["customer_name"] or slots["customer"] or slots["record"]:
        return True
    known = [name for name in FACTS if slots[name] is not None and name not in {"reading", "baseline"}]
    return not known and talk.loop is None


def _under_way(talk: Talk) -> bool:
    return talk.loop is not None or talk.slots["told"]


def _go_on(talk: Talk, done: Sequence[str]) -> Iterator[str]:
    """Yield what brings the talk forward once this turn's words are dealt with."""
    slots = talk.slots
    if any(change["slot"] not in UNNOTED for change in slots["noted"]):
        yield "action_note"
    if slots["pending"]:
        yield "action_read_back"
    elif slots["asked_back"]:
        yield "action_ask_back"
    elif slots["options"]:
        yield "action_ask_which"
    elif slots["refused"] and slots["requested_slot"]:
        yield ASK
    elif talk.loop in SUBMIT:
        yield from _fill(talk)
    elif talk.loop == CONSULT:
        yield from _consult(talk)
    elif _wants_consultation(talk, done):
        yield CONSULT
    elif all(action in SILENT for action in done):
        yield "utter_anything_else" if slots["told"] else "action_out_of_scope"


def _fill(talk: Talk) -> Iterator[str]:
    """Yield the next step of a form whose slots are fixed."""
    loop = str(talk.loop)
    if loop == DROP_OFF:
        yield LOOK_OVER
        if talk.slots["advise"] and talk.slots["requested_slot"] in ADVISED_FIRST:
            yield BEGINS[talk.slots["advise"]]
    elif loop in WEIGHS:
        yield WEIGHS[loop]
    if talk.slots["requested_slot"]:
        yield ASK
    else:
        yield SUBMIT[loop]


def _consult(talk: Talk) -> Iterator[str]:
    """Yield the next step of the form whose slots the rulebook names."""
    slots = talk.slots
    # A name or a choice in between closes the open question: the rules then say anew what is still to ask.
    if slots["decision"] is None or (slots["decision"]["needs"] and not slots["requested_slot"] and not slots["told"]):
        yield "action_decide"
    if slots["requested_slot"]:
        yield ASK
    elif not slots["told"]:
        if slots["riding"]:
            yield RIDE
        else:
            yield "action_tell_verdict"
    elif any(not racquet["told"] for racquet in all_racquets(slots).values()):
        yield NEXT_RACQUET
    else:
        yield "action_offer"


def _wants_consultation(talk: Talk, done: Sequence[str]) -> bool:
    slots = talk.slots
    if _handed_in(done) and not _begun(all_racquets(slots)[slots["racquet_key"]]):
        return False
    if any(not racquet["told"] and _begun(racquet) for racquet in all_racquets(slots).values()):
        return True
    if slots["told"]:
        return intent_of(talk.latest_message) == "ask_when"
    return intent_of(talk.latest_message) in CONSULTING


def _begun(racquet: Mapping[str, Any]) -> bool:
    return any(name in racquet for name in FACTS) or bool(racquet["unknown"])
