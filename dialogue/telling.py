"""What of a decision is told and in which order, as response keys and values; words nothing and decides nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dialogue.translate import NOTES, STEPS, Phrase, day_phrase, facts_phrases, number, phrase

if TYPE_CHECKING:
    from dialogue.services import Foreseen

Said = tuple[str, dict[str, Any]]
"""A response key and its values."""

REASONS = ("own", "interval", "interval_unsure", "reading")
"""The tables whose sentence stands under the verdict; the others only in the whole trail."""
GROUP = "group"
CAUTIONS = "cautions"
VERDICT = "verdict"
SILENT, OFFER = "silent", "offer"
"""What a shop may want done where a forecast parts from the chart."""
DAYS_A_WEEK = 7
CAUTION_ROW = "caution-{}"


@dataclass(frozen=True)
class Telling:
    """A decision to be told."""

    decision: Mapping[str, Any]
    """As JSON."""

    @classmethod
    def of(cls, decision: Mapping[str, Any] | None) -> Telling:
        """Return the telling of a decision as a slot holds it."""
        return cls(decision or {})

    def steps(self, *tables: str, against: bool = False) -> list[Mapping[str, Any]]:
        """Return the steps taken in some tables, for the verdict or against it."""
        return [step for step in self.decision["trail"] if step["table"] in tables and step["against"] == against]

    def verdict(self, told: Container[str] = (), before: Sequence[Any] | None = None) -> Iterator[Said]:
        """Yield the verdict, its reasons, what speaks against it and what it rests on.

        Args:
            told: sentences that were told before, which are not told again.
            before: the headline told last, where there was one.
        """
        headline = self.headline()
        if before is not None and list(headline) == list(before):
            yield "utter_verdict_still", {"verdict": phrase(f"utter_short_{self.decision['verdict']}")}
        else:
            yield headline
        decision = self.decision
        if decision["verdict"] == "need_more" and decision["every"]:
            yield "utter_rule_of_thumb", {"every": decision["every"]}
        reasons = [says for says in self.reasons() if says not in told]
        if reasons:
            yield "utter_because", {"says": " ".join(reasons)}
        if decision["restring_by"] and not self._names_the_day(headline):
            yield "utter_latest_day", {"date": day_phrase(decision["restring_by"])}
        against = [step for step in decision["trail"] if step["against"]]
        if against:
            yield "utter_against", {"says": " ".join(step["says"] for step in against)}
        for step in self.steps(NOTES):
            if step["says"] not in told:
                yield "utter_note", {"says": step["says"]}

    def reasons(self) -> list[str]:
        """Return the sentences of the rows that stand under the verdict, but what it says itself already."""
        step = next(iter(self.steps(VERDICT)), None)
        told = step is not None and step["read"].get("measured") == "fine"
        return [each["says"] for each in self.steps(*REASONS) if not (told and each["table"] == "reading")]

    def sentences(self) -> list[str]:
        """Return the sentences that are told once: reasons and notes."""
        return self.reasons() + [step["says"] for step in self.steps(NOTES)]

    def headline(self) -> Said:
        """Return the verdict with the row that gave it."""
        decision, verdict = self.decision, self.decision["verdict"]
        step = next(iter(self.steps(VERDICT)), None)
        if step is None:
            return f"utter_verdict_{verdict}", {}
        measured = step["read"].get("measured") not in (None, "none")
        if verdict == "play_on" and decision["restring_by"] and not measured:
            date = day_phrase(decision["restring_by"])
            if decision["window"]:
                return "utter_verdict_play_on_window", {"first": day_phrase(decision["window"][0]), "date": date}
            return "utter_verdict_play_on_until", {"date": date}
        return f"utter_verdict_{verdict}", {"reason": step["says"]}

    def _names_the_day(self, headline: Said) -> bool:
        """Tell whether the day to restring stands in the headline, or no longer matters."""
        step = next(iter(self.steps(VERDICT)), None)
        dated = step is not None and bool({"date", "label", "latest_passed"} & set(step["read"]))
        return dated or "date" in headline[1] or self.decision["verdict"] == "restring_now"

    def cautions(self) -> Iterator[tuple[str, str, dict[str, Any]]]:
        """Yield each caution with the sentence the rulebook has for it, or else the dialogue's own."""
        says = {step["row"]: step["says"] for step in self.steps(CAUTIONS)}
        for caution in self.decision["cautions"]:
            row = CAUTION_ROW.format(caution.replace("_", "-"))
            if row in says:
                yield caution, "utter_caution", {"says": says[row]}
            else:
                yield caution, f"utter_caution_{caution}", {}

    def short(self) -> Iterator[Said]:
        """Yield the steps that decided, in words."""
        steps = self.steps(*STEPS)
        yield "utter_why_short", {"steps": " ".join(step["says"] for step in steps)}
        against = [step["says"] for step in self.decision["trail"] if step["against"]]
        if against:
            yield "utter_against", {"says": " ".join(against)}

    def trail(self, words: Mapping[str, str]) -> Iterator[Said]:
        """Yield every step with its source, and the words the facts were said in."""
        yield "utter_why_trail", {}
        for step in self.decision["trail"]:
            key = "utter_why_step_against" if step["against"] else "utter_why_step"
            yield key, {"says": step["says"], "source": step["source"]}
        if words:
            quotes = [phrase("utter_why_quote", words=text) for text in dict.fromkeys(words.values())]
            yield "utter_why_words", {"quotes": quotes}

    def summary(self) -> Phrase:
        """Return interval, verdict and day in one phrase."""
        decision = self.decision
        values: dict[str, Any] = {"verdict": phrase(f"utter_short_{decision['verdict']}")}
        key = "utter_short_alone"
        if decision["every"]:
            values["every"] = decision["every"]
            key = "utter_short_every"
        if decision["restring_by"]:
            values["date"] = day_phrase(decision["restring_by"])
            passed = any("passed" in step["read"].values() for step in self.steps(VERDICT))
            key += "_was" if passed else "_by"
        return phrase(key, **values)


def next_question(decision: Mapping[str, Any]) -> str | None:
    """Return the fact to ask for: the first needed one, else the first a row reads; the others are only offered.

    A group comes before all others: for some of them one row of the shop's own answers everything.
    """
    if any(need["fact"] == GROUP and need["ask"] for need in decision["strengthens"]):
        return GROUP
    for need in decision["needs"]:
        return str(need["fact"])
    return next((str(need["fact"]) for need in decision["strengthens"] if need["ask"]), None)


def next_offer(decision: Mapping[str, Any], offered: Sequence[str]) -> Mapping[str, Any] | None:
    """Return the need to offer: the first that would make the answer firmer and was not offered yet."""
    if decision["verdict"] == "restring_now" and decision["every"]:
        return None
    return next((need for need in decision["strengthens"] if need["fact"] not in offered), None)


def what_if_values(changes: Mapping[str, Any], now: Mapping[str, Any], then: Mapping[str, Any]) -> Said:
    """Return how an answer would differ with something changed."""
    values: dict[str, Any] = {"changes": facts_phrases(changes, list(changes))}
    if then["verdict"] == "need_more" and not then["every"]:
        return "utter_what_if_open", values
    values["then"] = Telling.of(then).summary()
    if now["verdict"] == "need_more" and not now["every"]:
        return "utter_what_if_alone", values
    values["now"] = Telling.of(now).summary()
    if values["then"] == values["now"]:
        del values["then"]
        return "utter_what_if_same", values
    return "utter_what_if", values


def foreseen_values(foreseen: Foreseen | None, decision: Mapping[str, Any]) -> Iterator[Said]:
    """Yield when so much will be lost beside the label's or the chart's day, and what that rests on.

    Where the strings are to come out now no later day matters: told is only how long they lasted, for the next ones.
    """
    if foreseen is None or decision["verdict"] == "need_more":
        return
    if decision["verdict"] == "restring_now":
        yield from _lasted(foreseen)
        return
    chart = dt.date.fromisoformat(decision["restring_by"]) if decision["restring_by"] else None
    beside = phrase("utter_forecast_alone")
    if foreseen.label_due:
        beside = phrase("utter_forecast_label", date=day_phrase(foreseen.label_due))
    elif chart:
        beside = phrase("utter_forecast_chart", date=day_phrase(chart))
    days = {name: getattr(foreseen, name) for name in ("earliest", "expected", "latest", "horizon")}
    values = {name: day_phrase(day) for name, day in days.items() if day}
    yield _reached(foreseen), {"line": number(foreseen.line_percent), "beside": beside, **values}
    if chart and foreseen.handling != SILENT and (parts := _parting(foreseen, chart)):
        yield parts, {"days": foreseen.apart_days}
    if foreseen.readings == 1:
        yield "utter_forecast_leans", {"share": f"{foreseen.prior_percent:.0f}"}


def _lasted(foreseen: Foreseen) -> Iterator[Said]:
    """Yield how long the strings took to lose so much, where that day is known to lie behind them."""
    expected, strung = foreseen.expected, foreseen.strung_on
    if strung and expected and strung < expected <= foreseen.today and foreseen.readings >= foreseen.move_readings:
        weeks = max(round((expected - strung).days / DAYS_A_WEEK), 1)
        key = "utter_forecast_lasted" if weeks > 1 else "utter_forecast_lasted_week"
        yield key, {"line": number(foreseen.line_percent), "date": day_phrase(expected), "weeks": weeks}


def move_offered(foreseen: Foreseen | None, decision: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the move of a day that may be offered: {"old", "new", "line", "readings"}; None where there is none.

    Only ever to an earlier day that is still ahead: the rulebook takes the earlier one of label and chart.
    """
    if foreseen is None or foreseen.handling != OFFER or decision["verdict"] not in ("play_on", "restring_soon"):
        return None
    new, old = foreseen.expected, decision["restring_by"]
    if new is None or old is None or new <= foreseen.today or foreseen.readings < foreseen.move_readings:
        return None
    if (dt.date.fromisoformat(old) - new).days <= foreseen.apart_days:
        return None
    return {"old": old, "new": new.isoformat(), "line": foreseen.line_percent, "readings": foreseen.readings}


def move_name(move: Mapping[str, Any]) -> str:
    """Return what tells one move from another, so that it is offered once."""
    return f"move {move['old']} {move['new']}"


def _reached(foreseen: Foreseen) -> str:
    if foreseen.earliest is None:
        return "utter_forecast_not_before"
    if foreseen.latest and foreseen.latest <= foreseen.today:
        return "utter_forecast_reached"
    if foreseen.expected and foreseen.expected <= foreseen.today:
        return "utter_forecast_perhaps_reached"
    if foreseen.expected is None:
        return "utter_forecast_perhaps"
    return "utter_forecast_between" if foreseen.latest else "utter_forecast_open"


def _parting(foreseen: Foreseen, chart: dt.date) -> str | None:
    """Return the phrase for a forecast and a chart that part, or None where they do not."""
    apart = ((foreseen.expected or foreseen.horizon) - chart).days
    if abs(apart) <= foreseen.apart_days:
        return None
    return "utter_forecast_later" if apart > 0 else "utter_forecast_sooner"


def owner_phrases(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values every response may name: whose racquet is talked of."""
    label = slots.get("owner") or ""
    key = "utter_owner_named"
    if slots.get("whose") == "racquet":
        bare = not {"racquet", "racket", "frame", "one"} & set(label.split())
        key = "utter_owner_racquet" if bare else "utter_owner_numbered"
    elif label.islower():
        key = "utter_owner_person"
    owner = phrase(key, label=label)
    return {"owner": owner, "racquet": phrase(f"utter_racquet_{slots.get('whose') or 'self'}", owner=owner)}
