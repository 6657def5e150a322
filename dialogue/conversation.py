"""One turn from message to reply: the policy's actions, run on the executor; knows no rule and no wording."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rasa_sdk.events import (
    ActionExecuted,
    ActiveLoop,
    BotUttered,
    Restarted,
    SessionEnded,
    SlotSet,
    UserUtteranceReverted,
    UserUttered,
)
from rasa_sdk.executor import ActionExecutor

from dialogue.actions import build_executor
from dialogue.catalogue import Domain, load_domain
from dialogue.errands import asks_in_a_breath
from dialogue.errors import ActionWaited, DayMissing, TurnLooped, ValueRefused
from dialogue.forms import first_missing
from dialogue.hearing import Hearing, Understand
from dialogue.intake import intent_of, parse_data
from dialogue.lesson_words import PREFIX
from dialogue.messages import Choice, Message, Reply
from dialogue.options import asks_whether
from dialogue.phrases import Sentence, sentence_case
from dialogue.policy import ASK, CONSULT, NEXT_RACQUET, PICKUP, SUBMIT, TAKE_IN, next_action, open_question
from dialogue.racquets import FACTS, SELF, known_facts
from dialogue.services import Services
from dialogue.taking_in import TakingIn
from dialogue.telling import owner_phrases
from dialogue.tracker import LISTEN, Event, Talk

__all__ = ["Conversation", "Turn", "Understand", "run_now"]

logger = logging.getLogger(__name__)

LONGEST_TURN = 40
"""A turn of more actions than this goes round in circles."""
ATTEMPTS = 2
"""Why a value is read back that the ears were not sure of."""
NOT_UNDERSTOOD = "action_not_understood"
QUESTION_STEPS = frozenset({ASK, "action_read_back", "action_ask_back", "action_ask_which"})


@dataclass
class Turn:
    """What one turn has done and said so far."""

    message: Message
    today: dt.date
    done: list[str] = field(default_factory=list)
    said: list[Sentence] = field(default_factory=list)
    asking: bool = False
    choices: tuple[Choice, ...] = ()
    helpful: tuple[Choice, ...] = ()
    """Choices for somebody who was not understood; they stand before the question's own."""
    again: Mapping[str, Any] | None = None
    """The last reply, where it is said once more."""
    ended: bool = False


class Conversation:
    """The assistant at the counter: a message in, replies out; all it remembers is in the store."""

    def __init__(
        self, services: Services, understand: Understand, domain: Domain | None = None, *, strict: bool = False
    ) -> None:
        self.services = services
        self._hearing = Hearing(understand, services.groups, services.products)
        self.domain = domain or load_domain()
        self.executor: ActionExecutor = build_executor(services)
        self._strict = strict
        self._taking_in = TakingIn(services)
        self._own: Mapping[str, Callable[[Talk, Turn], None]] = {
            TAKE_IN: self._take_in,
            ASK: self._ask,
            "action_back": self._back,
            "action_restart": self._restart,
            "action_repeat": self._repeat,
            "action_stop": self._stop,
        }

    def handle(self, message: Message) -> list[Reply]:
        """Return the replies to one turn of a person, and keep what it changed.

        Another worker may have taken a turn of the same conversation meanwhile: then the turn is taken once more.
        """
        for _ in range(ATTEMPTS):
            try:
                reply = self._attempt(message)
            except Exception as error:
                if trouble := self.services.trouble(error):
                    logger.error("store_unusable channel=%s", message.channel)  # noqa: TRY400 - the cause is known
                    return [self._plain("utter_store_trouble", trouble=trouble)]
                if self._strict:
                    raise
                # Whatever broke, somebody at a counter gets a sentence, and the log gets no word of theirs.
                logger.error("turn_failed error=%s channel=%s", type(error).__name__, message.channel)  # noqa: TRY400
                return [self._plain("utter_sorry")]
            if reply is not None:
                return [reply]
        logger.warning("turn_conflict channel=%s", message.channel)
        return [self._plain("utter_busy")]

    def _plain(self, key: str, **values: str) -> Reply:
        sentence = self.domain.phrases.fill(key, values, {})
        return Reply(text=(sentence.text,), speech=sentence.speech)

    def _attempt(self, message: Message) -> Reply | None:
        """Return the reply, or None where somebody else took a turn of this conversation meanwhile."""
        row = self.services.load(message.sender_id)
        talk = Talk(message.sender_id, self.domain.initial, (dict(event) for event in row.events))
        if talk.ended:
            talk.apply([Restarted()])
        if message.today is None:
            raise DayMissing(message.channel)
        today = message.today
        turn = Turn(message, today)
        talk.apply([self._hear(talk, message, today)])
        talk.apply(
            SlotSet(name, self.domain.initial[name])
            for name in ("noted", "refused", "confirmed")
            if talk.slots[name] != self.domain.initial[name]
        )
        with self.services.turn(row.id or None):
            self._run(talk, turn)
            reply = self._compose(talk, turn)
            talk.apply(_closing(reply))
            customer = (talk.slots["customer"] or {}).get("customer_id")
            return reply if self.services.save(row, talk.to_store(), customer) else None

    def _hear(self, talk: Talk, message: Message, today: dt.date) -> Event:
        heard = self._hearing.hear(talk.slots, message, today, talk.loop)
        data = parse_data(heard, message, today=today.isoformat(), asked=open_question(talk.slots))
        return UserUttered(message.text, data, input_channel=message.channel)

    # Running.

    def _run(self, talk: Talk, turn: Turn) -> None:
        while True:
            self._request(talk)
            action = next_action(talk, turn.done)
            if action == LISTEN:
                return
            if len(turn.done) >= LONGEST_TURN:
                raise TurnLooped(turn.done)
            turn.done.append(action)
            self._perform(action, talk, turn)

    def _perform(self, action: str, talk: Talk, turn: Turn) -> None:
        if action in self._own:
            self._own[action](talk, turn)
        elif action in self.domain.forms:
            talk.apply([ActiveLoop(action), SlotSet("requested_slot", None), SlotSet("offer", [])])
            if action == CONSULT:
                # Begun, or taken up again after something else: the rules say anew what to ask and to tell.
                talk.apply([SlotSet("decision", None), SlotSet("told", False)])
            if action == PICKUP:
                said = turn.message.text
                talk.apply([SlotSet("only_asked", asks_whether(said) or asks_in_a_breath(said))])
            if action == CONSULT and intent_of(talk.latest_message) == "ask_when":
                talk.apply([SlotSet("headline", None)])
        elif action.startswith("utter_"):
            self._say(talk, turn, {"response": action})
        else:
            self._execute(action, talk, turn)
        if action in QUESTION_STEPS:
            turn.asking = True

    def _execute(self, action: str, talk: Talk, turn: Turn) -> None:
        """Run an action of the executor on a copy of the state, and apply what it returns."""
        result = run_now(self.executor.run(talk.call(action, self.domain.raw)), action)
        events = [ActionExecuted(action)]
        for event in result.events:
            if event["event"] == "slot" and event["name"] == "options" and event["value"]:
                event["value"] = self._options_in_words(event["value"], talk)
            events.append(event)
        slots = dict(talk.slots)
        talk.apply(events)
        for response in result.responses:
            # A sentence speaks of the racquet it was said for, even where the action then turned to another one.
            self._say(talk, turn, response, slots)

    def _options_in_words(self, options: Mapping[str, Any], talk: Talk) -> dict[str, Any]:
        entries = [
            {**entry, "text": self._words(entry["text"], talk)} if isinstance(entry["text"], Mapping) else entry
            for entry in options["entries"]
        ]
        return {**options, "entries": entries}

    def _words(self, phrase: Mapping[str, Any], talk: Talk) -> str:
        return sentence_case(self.domain.phrases.fill(phrase["key"], phrase, talk.slots).text)

    def _request(self, talk: Talk) -> None:
        """Ask for the first empty slot of a form whose slots are fixed; the rules name those of the other one."""
        if talk.loop in SUBMIT:
            wanted = first_missing(talk.slots, self.domain.forms[str(talk.loop)])
            if wanted != talk.slots["requested_slot"]:
                talk.apply([SlotSet("requested_slot", wanted)])

    # What Rasa itself does for its assistants: forms, going back, starting over, saying again.

    def _take_in(self, talk: Talk, turn: Turn) -> None:
        self._taking_in.run(talk, turn.today, lambda: self._execute("validate_consultation_form", talk, turn))

    def _ask(self, talk: Talk, turn: Turn) -> None:
        """Ask for the requested slot by the first prompt there is, in Rasa's order."""
        slot, loop = talk.slots["requested_slot"], talk.loop
        talk.apply([SlotSet("asked_last", slot)])
        if NEXT_RACQUET in turn.done and talk.slots["whose"] == SELF:
            self._say(talk, turn, {"response": "utter_next_racquet"})
        for name in (f"ask_{loop}_{slot}", f"ask_{slot}"):
            if f"action_{name}" in self.executor.actions:
                self._execute(f"action_{name}", talk, turn)
                return
            if f"utter_{name}" in self.domain.phrases.responses:
                break
        self._say(talk, turn, {"response": f"utter_{name}"})

    def _back(self, talk: Talk, turn: Turn) -> None:
        """Take back turns until another question is open, with all they changed."""
        words = talk.latest_message
        turns = talk.turns_back()
        if not turns and not talk.slots["sealed"] and any(talk.slots[fact] is not None for fact in FACTS):
            turns = talk.turns
        self._say(talk, turn, {"response": "utter_went_back" if turns else "utter_first_question"})
        if turns:
            talk.apply([UserUtteranceReverted()] * turns)
            talk.apply([UserUttered(turn.message.text, words, input_channel=turn.message.channel)])

    def _restart(self, talk: Talk, turn: Turn) -> None:
        words = talk.latest_message
        talk.apply([Restarted(), UserUttered(turn.message.text, words, input_channel=turn.message.channel)])
        self._say(talk, turn, {"response": "utter_restarted"})

    def _repeat(self, talk: Talk, turn: Turn) -> None:
        turn.again = talk.last_reply()
        if turn.again is None:
            self._say(talk, turn, {"response": "utter_greet"})

    def _stop(self, talk: Talk, turn: Turn) -> None:
        self._say(talk, turn, {"response": "utter_stopped"})
        talk.apply([SlotSet("requested_slot", None), SessionEnded()])
        turn.ended = True

    # Speaking.

    def _say(self, talk: Talk, turn: Turn, response: Mapping[str, Any], slots: Mapping[str, Any] | None = None) -> None:
        """Fill a response with its values and those every response may name, and add it to what is said."""
        slots = talk.slots if slots is None else slots
        values = {**owner_phrases(slots), **response}
        sentence = self.domain.phrases.fill(str(response["response"]), values, slots, talk.turns)
        turn.said.append(sentence)
        titles = [button["title"] for button in response.get("buttons") or ()]
        texts = [title if isinstance(title, str) else self._words(title, talk) for title in titles]
        buttons = tuple(Choice(text, text) for text in texts)
        choices = buttons or sentence.choices
        if choices and turn.done[-1:] == [NOT_UNDERSTOOD]:
            turn.helpful = choices
        turn.choices = choices or turn.choices

    def _compose(self, talk: Talk, turn: Turn) -> Reply:
        slots = talk.slots
        facts = known_facts(slots)
        try:
            facts = self.services.shown(facts, turn.today)
        except ValueRefused as refused:
            logger.warning("facts_not_shown fact=%s", refused.slot)
        reply = Reply(
            text=tuple(_paragraphs(turn.said)),
            speech=" ".join(sentence_case(sentence.speech) for sentence in turn.said if sentence.speech),
            asked=_part_asked(slots) or (_asked(slots) if turn.asking else None),
            choices=tuple({choice.text: choice for choice in (*turn.helpful, *turn.choices)}.values()),
            facts=facts,
            decision=slots["decision"] if slots["told"] else None,
            wanted=() if slots["told"] else _wanted(slots["decision"] or {}),
            ended=turn.ended,
        )
        if turn.again is None:
            return reply
        return replace(
            reply,
            text=tuple(turn.again["text"]),
            speech=turn.again["speech"],
            asked=turn.again["asked"],
            choices=tuple(Choice(choice["text"], choice["value"]) for choice in turn.again["choices"]),
        )


def _wanted(decision: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the facts that a decision not taken yet still asks for."""
    needs = [*decision.get("needs", ()), *(need for need in decision.get("strengthens", ()) if need["ask"])]
    return tuple(dict.fromkeys(need["fact"] for need in needs))


def run_now(work: Coroutine[Any, Any, Any], action: str) -> Any:
    """Return what an action's coroutine returns, without an event loop.

    An action's only slow work is the database, which answers before it goes on; so it never suspends, and a turn
    may be taken in any thread, whether an event loop runs there or not.

    Raises:
        ActionWaited: when it suspends after all.
    """
    try:
        work.send(None)
    except StopIteration as finished:
        return finished.value
    work.close()
    raise ActionWaited(action)


def _part_asked(slots: Mapping[str, Any]) -> str | None:
    """Return the part of an exercise that is open."""
    lesson = slots["practice"] or slots["riding"]
    return f"{PREFIX}{lesson['stage']}" if lesson and lesson["stage"] else None


def _asked(slots: Mapping[str, Any]) -> str | None:
    if slots["options"] and slots["options"]["for"] != "customer":
        return str(slots["options"]["for"])
    return open_question(slots)


def _paragraphs(said: Sequence[Sentence]) -> list[str]:
    """Return the sentences as paragraphs: one that leads in shares the next one's, and so do the lines of a block."""
    paragraphs: list[str] = []
    before: Sentence | None = None
    for sentence in said:
        if not sentence.text:
            continue
        text = sentence_case(sentence.text)
        if before and before.lead:
            paragraphs[-1] += f" {text}"
        elif before and before.block and sentence.block:
            paragraphs[-1] += f"\n{text}"
        else:
            paragraphs.append(text)
        before = sentence
    return paragraphs


def _closing(reply: Reply) -> list[Event]:
    """Return the events that end a turn: what was said, so that it can be said again, and the wait."""
    data = {
        "text": list(reply.text),
        "speech": reply.speech,
        "asked": reply.asked,
        "choices": [{"text": choice.text, "value": choice.value} for choice in reply.choices],
    }
    return [BotUttered("\n".join(reply.text), data), ActionExecuted(LISTEN)]
