"""What the board's forms do: take in, string, measure, hand over, leagues; each by one use case of the counter."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from sanic import Blueprint, HTTPResponse, Request

from assistant.channels.web.board import Board
from assistant.channels.web.forms import (
    FieldUnread,
    Form,
    read_customer,
    read_drop_off,
    read_measured,
    read_strung,
    read_unsure,
)
from assistant.channels.web.pages import fields_of, show_fault
from assistant.channels.web.wording import load_words, say
from dialogue.counter.advising import advise
from dialogue.counter.bench import cancel_job, log_strung, mark_ready, redate
from dialogue.counter.counter import Counter
from dialogue.counter.customers import change_customer
from dialogue.counter.drop_off import take_in
from dialogue.counter.history import undo
from dialogue.counter.leagues import add_season, create_league, join_league
from dialogue.counter.outcomes import Refusal, Remark
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import log_reading

Step = Callable[[Counter, Form, Any], Any]
"""The counter, the form and the stringing -> what came of it."""
STEPS: dict[str, Step] = {
    "strung": lambda counter, form, job: log_strung(counter, read_strung(form, job.tag)),
    "reading": lambda counter, form, job: log_reading(counter, job.tag, _role(form), read_measured(form)),
    "ready": lambda counter, _, job: mark_ready(counter, job.tag),
    "date": lambda counter, _, job: redate(counter, job.tag, ("plays_per_week", "league_start")),
    "pickup": lambda counter, _, job: hand_over(counter, job.tag),
    "cancel": lambda counter, _, job: cancel_job(counter, job.tag),
}
"""What can be done with a stringing."""


@dataclass(frozen=True)
class Done:
    """What came of a form: an outcome, or why there is none."""

    outcome: Any = None
    problem: str | None = None
    field: str | None = None
    """The field that is wrong."""
    status: int = HTTPStatus.OK


class Acts:
    """The routes that change a card."""

    def __init__(self, board: Board) -> None:
        self.board = board

    def add_to(self, pages: Blueprint) -> None:
        """Add the routes to the board's."""
        pages.add_route(self.take_in, "/drop-off", methods=["POST"], name="drop_off")
        pages.add_route(self.move, "/job/<number:int>/<step:str>", methods=["POST"], name="step")
        pages.add_route(self.change_customer, "/customer/<number:int>", methods=["POST"], name="customer_change")
        pages.add_route(self.create_league, "/leagues", methods=["POST"], name="league_create")
        pages.add_route(self.add_season, "/leagues/season", methods=["POST"], name="season_add")
        pages.add_route(self.join_league, "/customer/<number:int>/league", methods=["POST"], name="league_join")
        pages.add_route(self.undo, "/undo", methods=["POST"], name="undo")

    async def take_in(self, request: Request) -> HTTPResponse:
        """Take in a racquet and show its card, or the form again with what is wrong."""
        form = Form(fields_of(request))
        if form.ticked("advise"):
            return await self._advise(request, form)
        done = await self._do(request, lambda counter: take_in(counter, read_drop_off(form)))
        if done.problem:
            given = {name: value for name, value in fields_of(request).items() if name != "token"}
            try:
                customer, racquet = form.whole("customer_id"), form.whole("racquet_id")
            except FieldUnread:
                return await show_fault(request, HTTPStatus.BAD_REQUEST)
            return await self.board.drop_off_page(
                request, customer, racquet, done.status, problem=done.problem, wrong=done.field, given=given
            )
        notes = self._sentences(request, done.outcome.remarks)
        if done.outcome.job is None:
            notes = [self.board.counter(request).wording.say(f"refused.{done.outcome.person}"), *notes]
            return await self.board.customer_page(request, done.outcome.customer.id, notes=notes)
        notes = [say(load_words()["board"]["taken_in"], tag=done.outcome.job.tag), *notes]
        return await self.board.job_page(request, done.outcome.job.id, notes=notes)

    async def _advise(self, request: Request, form: Form) -> HTTPResponse:
        """Show the form again with strings and a tension to start from in it, and why; nothing is taken in."""
        given = {name: value for name, value in fields_of(request).items() if name != "token"}
        try:
            customer, racquet = form.whole("customer_id"), form.whole("racquet_id")
        except FieldUnread:
            return await show_fault(request, HTTPStatus.BAD_REQUEST)

        def work(counter: Counter) -> Any:
            low, high = form.number("tension_min_lb"), form.number("tension_max_lb")
            printed = None if low is None or high is None else (low, high)
            return advise(counter, read_unsure(form), printed, customer_id=customer)

        done = await self._do(request, work)
        said: dict[str, Any] = {"problem": done.problem, "wrong": done.field}
        if not done.problem:
            advice = done.outcome.advice
            given |= {"strings": "these", "mains_material": advice.mains, "crosses_material": advice.crosses}
            if advice.tension_lb is not None:
                given |= {"unit": "lb", "mains_tension": f"{advice.tension_lb:g}", "crosses_tension": ""}
            counter = self.board.counter(request)
            advised = counter.wording.say("hand_over.advised_bare", day=counter.today, who=counter.who)
            given["notes"] = given.get("notes") or advised
            said["notes"] = [step.says for step in advice.trail]
        return await self.board.drop_off_page(request, customer, racquet, done.status, given=given, **said)

    async def move(self, request: Request, number: int, step: str) -> HTTPResponse:
        """Bring a stringing one step on, and show its card again."""
        if step not in STEPS:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        form = Form(fields_of(request))

        def work(counter: Counter) -> Any:
            with counter.look() as unit:
                job = unit.jobs.get(number)
            return STEPS[step](counter, form, job)

        done = await self._do(request, work)
        if done.problem:
            given = {name: value for name, value in fields_of(request).items() if name != "token"}
            return await self.board.job_page(
                request, number, done.status, problem=done.problem, wrong=done.field, given=given
            )
        said: dict[str, Any] = {"notes": [load_words()["board"][f"done_{step}"]]}
        said["notes"] += self._sentences(request, getattr(done.outcome, "remarks", ()))
        if step == "pickup":
            said["handed"] = done.outcome
        if step == "reading":
            said["compared"] = done.outcome
        return await self.board.job_page(request, number, **said)

    async def change_customer(self, request: Request, number: int) -> HTTPResponse:
        """Change what is on a customer's card."""
        form = Form(fields_of(request))
        done = await self._do(request, lambda counter: change_customer(counter, number, read_customer(form)))
        if done.problem:
            return await self.board.customer_page(request, number, done.status, problem=done.problem)
        notes = [load_words()["board"]["done_customer"], *self._sentences(request, done.outcome.remarks)]
        return await self.board.customer_page(request, number, notes=notes)

    async def create_league(self, request: Request) -> HTTPResponse:
        """Take down a league."""
        form = Form(fields_of(request))

        def work(counter: Counter) -> Any:
            day = form.day("starts_on")
            return create_league(counter, form.text("name") or "", (day,) if day else ())

        return await self._leagues(request, work)

    async def add_season(self, request: Request) -> HTTPResponse:
        """Take down a season of a league."""
        form = Form(fields_of(request))

        def work(counter: Counter) -> Any:
            day = form.day("starts_on")
            if day is None:
                raise FieldUnread("starts_on", "day")
            return add_season(counter, form.text("league") or "", day, form.text("season"))

        return await self._leagues(request, work)

    async def join_league(self, request: Request, number: int) -> HTTPResponse:
        """Put a customer into a league."""
        form = Form(fields_of(request))
        done = await self._do(request, lambda counter: join_league(counter, form.text("league") or "", number))
        if done.problem:
            return await self.board.customer_page(request, number, done.status, problem=done.problem)
        return await self.board.customer_page(request, number, notes=[load_words()["board"]["done_league"]])

    async def undo(self, request: Request) -> HTTPResponse:
        """Take back what this person did last, and show the bench."""
        done = await self._do(request, undo)
        counter = self.board.counter(request)
        note = done.problem or say(load_words()["board"]["undone"], what="; ".join(done.outcome.what), who=counter.who)
        return await self.board.bench_page(request, done.status, note)

    async def _leagues(self, request: Request, work: Callable[[Counter], Any]) -> HTTPResponse:
        done = await self._do(request, work)
        notes = () if done.problem else [load_words()["board"]["done_league"]]
        return await self.board.leagues_page(request, done.status, problem=done.problem, notes=notes)

    async def _do(self, request: Request, work: Callable[[Counter], Any]) -> Done:
        """Do something at the counter and tell the open boards; a refusal is an answer."""
        counter = self.board.counter(request)
        try:
            outcome = await self.board.pool.run(work, counter)
        except FieldUnread as unread:
            return Done(problem=str(unread), field=unread.field, status=HTTPStatus.UNPROCESSABLE_ENTITY)
        except Exception as error:
            fault = self.board.shop.explain(error)
            if fault is None or fault.status == HTTPStatus.NOT_FOUND:
                raise
            return Done(problem=fault.says, status=fault.status)
        if isinstance(outcome, Refusal):
            problem = counter.wording.remark(outcome)
            return Done(problem=problem, field=outcome.fact, status=HTTPStatus.UNPROCESSABLE_ENTITY)
        # The page that answers shows it already: this board need not be told of its own work.
        request.ctx.change = await self.board.live.look() or request.ctx.change
        return Done(outcome)

    def _sentences(self, request: Request, remarks: Iterable[Remark]) -> list[str]:
        wording = self.board.counter(request).wording
        return [wording.remark(remark) for remark in remarks]


def _role(form: Form) -> str:
    return "baseline" if form.text("role") == "baseline" else "check"
