"""The wiring: opens the rulebook and the database and hands out what is built on them."""

from __future__ import annotations

import datetime as dt
import gc
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.exits import CommandError, Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from assistant.channels.voice.hear import Listener
    from assistant.channels.web.shop import Fault, Shop
    from dialogue.action_calls import ActionCalls
    from dialogue.conversation import Conversation
    from dialogue.counter.counter import Counter
    from dialogue.messages import Understanding
    from dialogue.rulebooks.editions import Shelf
    from rules.rulebook import Rulebook
    from storage.backup import Backup, Restored
    from storage.copying import Copied
    from storage.database import Store

MOST_NAMES = 150
"""Customers whose names the ears are told of; more would make them hear names in everything."""
NAMES_DUE_IN_DAYS = 30
OBJECTS_BETWEEN_COLLECTIONS = 50_000
"""Started, the program holds very many objects that stay: Python's usual 700 would look through them all the time."""
COLLECTIONS_BETWEEN_LARGER = (20, 20)


@lru_cache(maxsize=4)
def open_book(settings: Settings) -> Rulebook:
    """Return the rulebook of this run: the one named, else the one the shop uses, else the one that comes along.

    Raises:
        CommandError: when the book is broken, or cannot be read from the database; says what to do.
    """
    from rules.errors import BookError
    from rules.rulebook import BOOK_FOLDER, load_book

    try:
        if settings.book:
            return load_book(Path(settings.book))
        return _stored_book(settings) or load_book(BOOK_FOLDER)
    except BookError as error:
        raise CommandError(f"The rulebook cannot be used. {error}") from error


def open_packaged_book() -> Rulebook:
    """Return the rulebook that comes along, whatever the shop uses."""
    from rules.rulebook import load_book

    return load_book()


def _stored_book(settings: Settings) -> Rulebook | None:
    """Return the edition the shop has switched to, or None where it has not."""
    from storage.editions import read_edition

    try:
        stored = read_edition(settings.db, settings.today)
    except Exception as error:
        from storage.errors import StorageError

        if not isinstance(error, StorageError):
            raise
        raise CommandError(f"{error} The shop's rulebook is in it; name another with --book.", Exit.STORAGE) from error
    if stored is None:
        return None
    from dialogue.rulebooks.editions import read_content

    return read_content(stored.content)


@contextmanager
def open_shelf(settings: Settings, who: str = "counter") -> Iterator[Shelf]:
    """Open the shop's editions of the rulebook on this run's database.

    Raises:
        CommandError: when database or rulebook cannot be used.
    """
    from dialogue.rulebooks.editions import Shelf
    from rules.errors import BookError

    try:
        with open_database(settings) as store:
            yield Shelf(store, open_packaged_book(), who)
    except BookError as error:
        raise CommandError(f"The rulebook cannot be used. {error}") from error
    finally:
        # A switch made here must count for whatever this process opens next.
        open_book.cache_clear()


@contextmanager
def open_database(settings: Settings) -> Iterator[Store]:
    """Open the database of this run and close it afterwards.

    Raises:
        CommandError: when it cannot be used, or refuses; the sentence says why.
    """
    from storage.database import open_store
    from storage.errors import Conflict, NotFound, StorageError

    try:
        with open_store(settings.db, clock=clock_on(settings.today)) as store:
            yield store
    except NotFound as error:
        raise CommandError(str(error), Exit.NOT_FOUND) from error
    except Conflict as error:
        raise CommandError(str(error), Exit.REFUSED) from error
    except StorageError as error:
        raise CommandError(str(error), Exit.STORAGE) from error


def clock_on(today: dt.date) -> Callable[[], dt.datetime]:
    """Return a clock that runs as usual, but on the day that was taken for today."""
    shift = today - dt.datetime.now().astimezone().date()
    return lambda: dt.datetime.now(dt.UTC) + shift


@contextmanager
def open_conversation(settings: Settings) -> Iterator[Conversation]:
    """Open the conversation on this run's database and rulebook.

    Raises:
        CommandError: when either cannot be used.
    """
    from dialogue.conversation import Conversation
    from dialogue.services import Services

    with open_database(settings) as store:
        yield Conversation(Services(store, open_book(settings)), _understand)


def _understand(text: str, **known: Any) -> Understanding:
    # The opening words are said before there is anything to understand.
    from dialogue.understanding import understand

    return understand(text, **known)


def prepare_turns() -> None:
    """Load what turns would else load piece by piece: the language first, then the use cases few talks come to."""
    from dialogue.services import at_need
    from dialogue.understanding import prepare

    prepare()
    at_need.import_all()
    # The start is over: from here on memory is looked through little by little, so that no turn waits for it.
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS, *COLLECTIONS_BETWEEN_LARGER)


def load_listener(model: str | None = None) -> Listener:
    """Return both ears, loaded; a model folder other than the packaged one may be named.

    Raises:
        CommandError: when speaking needs something that is not here.
    """
    try:
        from assistant.channels.voice.ears import load_ears
        from assistant.channels.voice.errors import VoiceProblem
        from assistant.channels.voice.hear import Listener
    except ImportError as error:
        from assistant.channels.voice.errors import phrase

        raise CommandError(phrase("no_library")) from error
    from dialogue.lesson_words import with_lessons
    from dialogue.understanding import understand

    prepare_turns()
    try:
        ears = load_ears(model or os.environ.get("COUNTERPULL_WHISPER") or None)
        return Listener(ears, with_lessons(understand))
    except VoiceProblem as problem:
        raise CommandError(str(problem)) from problem


@contextmanager
def open_listener(model: str | None = None) -> Iterator[Listener]:
    """Load both ears and let their threads go afterwards.

    Raises:
        CommandError: when speaking needs something that is not here.
    """
    listener = load_listener(model)
    try:
        yield listener
    finally:
        listener.close()


def customer_names(settings: Settings) -> tuple[str, ...]:
    """Return the customers whose racquets are in the shop or due, whose names somebody may say.

    Raises:
        CommandError: when the database cannot be used.
    """
    with open_database(settings) as store, store.unit() as uow:
        here = [row.customer for row in uow.queries.board(settings.today)]
        due = [row.customer for row in uow.queries.due(settings.today, NAMES_DUE_IN_DAYS).rows]
        names = dict.fromkeys(customer.name for customer in (*here, *due) if customer is not None)
    return tuple(names)[:MOST_NAMES]


@contextmanager
def open_counter(settings: Settings, who: str = "counter", region: str = "US") -> Iterator[Counter]:
    """Open the counter's use cases on this run's database, rulebook and day.

    Raises:
        CommandError: when database or rulebook cannot be used.
    """
    from dialogue.counter.counter import Counter

    with open_database(settings) as store:
        yield Counter(store, open_book(settings), settings.today, who, region)


def back_up_to(store: Store, folder: Path, keep: int) -> Backup:
    """Copy the open database into a folder, check the copy and return it.

    Raises:
        BackupRefused: when it cannot be made.
    """
    from storage.backup import back_up

    return back_up(store, folder, dt.datetime.now(dt.UTC), keep)


def check_stored(settings: Settings) -> None:
    """Refuse an SQLite file that is not there: opening it would make an empty one.

    Raises:
        CommandError: when it is missing.
    """
    from storage.database import missing_file
    from storage.errors import StorageError

    try:
        path = missing_file(settings.db)
    except StorageError as error:
        raise CommandError(str(error), Exit.STORAGE) from error
    if path:
        raise CommandError(f"{path} is not there; name the database the shop is in.", Exit.NOT_FOUND)


def copy_to(store: Store, settings: Settings, progress: Callable[[int, int], None]) -> Copied:
    """Copy an open database into this run's, which must be empty, and return what arrived.

    Raises:
        CommandError: when it must not be copied there, or did not arrive.
    """
    from storage.copying import copy_database
    from storage.errors import CopyRefused

    with open_database(settings) as target:
        try:
            return copy_database(store, target, progress)
        except CopyRefused as error:
            raise CommandError(str(error)) from error


def restore_from(settings: Settings, path: Path) -> Restored:
    """Put a backup in the place of this run's database and return what was done.

    Raises:
        CommandError: when it must not be restored.
    """
    from storage.backup import restore
    from storage.errors import BackupRefused, StorageError

    try:
        return restore(settings.db, path, dt.datetime.now(dt.UTC))
    except BackupRefused as error:
        raise CommandError(str(error), Exit.NOT_FOUND if error.reason == "missing" else Exit.STORAGE) from error
    except StorageError as error:
        raise CommandError(str(error), Exit.STORAGE) from error


@contextmanager
def open_action_calls(settings: Settings) -> Iterator[ActionCalls]:
    """Open the actions of the conversation for calls of the action-server protocol.

    Raises:
        CommandError: when database or rulebook cannot be used.
    """
    from dialogue.action_calls import ActionCalls
    from dialogue.actions import build_executor
    from dialogue.services import Services

    with open_database(settings) as store:
        yield ActionCalls(build_executor(Services(store, open_book(settings))))


@contextmanager
def open_shop(settings: Settings, surroundings: Surroundings) -> Iterator[Shop]:
    """Open what the kiosk and the board work with, on this run's database and rulebook.

    Raises:
        CommandError: when database or rulebook cannot be used.
    """
    from assistant.channels.web.labels import print_label
    from assistant.channels.web.public import PublicServices, open_public_conversation
    from assistant.channels.web.shop import Shop
    from assistant.channels.web.telling import tell_facts
    from dialogue.counter.counter import Counter
    from dialogue.understanding import understand

    book = open_book(settings)
    with open_database(settings) as store:
        shop = Shop(
            turn=open_public_conversation(PublicServices(store, book), understand).handle,
            suppose=lambda facts, changes, today: suppose_facts(facts, changes, today, book),
            tell_facts=tell_facts,
            counter=lambda who: Counter(store, book, surroundings.today(), who, surroundings.region),
            today=surroundings.today,
            explain=explain_fault,
            print_label=print_label,
            load_listener=load_listener if surroundings.hears else None,
            hears_taps=surroundings.hears_taps,
            kiosk_only=surroundings.kiosk_only,
            hosts=surroundings.hosts,
        )
        secret = surroundings.secret
        yield replace(shop, secret=secret) if secret else shop


def warm_up(settings: Settings) -> None:
    """Load what the first customer would wait for, and keep it out of every later clearing up of memory.

    Raises:
        CommandError: when the rulebook cannot be used.
    """
    prepare_turns()
    suppose_facts({}, {}, settings.today, open_book(settings))
    gc.collect()
    gc.freeze()


@dataclass(frozen=True)
class Surroundings:
    """What the web server knows of where it runs."""

    today: Callable[[], dt.date]
    """The present day: a server runs past midnight."""
    region: str = "US"
    kiosk_only: bool = False
    hears: bool = False
    """Whether browsers may be heard."""
    hears_taps: bool = False
    """Whether the board's browsers may be heard where somebody taps a stringbed."""
    hosts: frozenset[str] = frozenset()
    secret: bytes | None = None


def suppose_facts(
    facts: Mapping[str, Any], changes: Mapping[str, Any], today: dt.date, book: Rulebook
) -> dict[str, Any]:
    """Return the decision JSON for facts JSON with some changed, or {"error": {fact, value, message}}."""
    from rules.chain import decide
    from rules.errors import FactRefused
    from rules.intake import parse_facts
    from rules.whatif import decide_what_if

    try:
        known = parse_facts(dict(facts), today=today, limits=book.limits)
        return (decide_what_if(known, changes, book) if changes else decide(known, book)).to_dict()
    except FactRefused as refused:
        return {"error": {"fact": refused.fact, "value": refused.value, "message": refused.message}}


def explain_fault(error: BaseException) -> Fault | None:
    """Return what an error of the storage means to somebody at a screen; None for any other error."""
    from assistant.channels.web.shop import Fault
    from storage.errors import Conflict, NotFound, StorageError

    if isinstance(error, NotFound):
        return Fault(404, str(error))
    if isinstance(error, Conflict):
        return Fault(409, str(error))
    return Fault(503, str(error)) if isinstance(error, StorageError) else None


def decide_facts(raw: Any, settings: Settings) -> dict[str, Any]:
    """Return the decision JSON for facts JSON, or {"error": {fact, value, message}}."""
    from rules.chain import decide
    from rules.errors import FactRefused
    from rules.intake import parse_facts

    book = open_book(settings)
    try:
        facts = parse_facts(raw, today=settings.today, limits=book.limits)
    except FactRefused as refused:
        return {"error": {"fact": refused.fact, "value": refused.value, "message": refused.message}}
    return decide(facts, book).to_dict()


@dataclass(frozen=True)
class Report:
    """What `check` found."""

    problems: list[str]
    remarks: list[str]
    """What is odd and stops nothing."""
    facts: dict[str, Any]
    """What runs here: engine, rulebook, database."""


def check_rulebook(settings: Settings) -> Report:
    """Return every problem of the rulebook of this run, after every combination of inputs was tried."""
    from dialogue.rulebooks.checking import check_book
    from rules.engine import choose_engine

    facts: dict[str, Any] = {"engine": choose_engine().name}
    try:
        book = open_book(settings)
    except CommandError as error:
        return Report([str(error)], [], facts)
    found = check_book(book)
    facts |= {"rulebook": book.hash, "rows": found.rows}
    facts["worked_cases"] = f"{found.trial.as_worked_out} of {found.trial.tried} as worked out"
    facts["worked_advice"] = f"{found.trial.advised_as_worked_out} of {found.trial.advised} as worked out"
    return Report(list(found.problems), list(found.remarks), facts)


def check_everything(settings: Settings) -> Report:
    """Return every problem of rulebook, phrases, cues and database, and what this machine runs."""
    from concurrent.futures import ThreadPoolExecutor

    from dialogue.catalogue import check_catalogue
    from dialogue.counter.counter import Counter
    from dialogue.forecasts.shop_prior import show_prior
    from dialogue.understanding import validate

    with ThreadPoolExecutor(max_workers=1) as beside:
        # The rulebook is tried by a process of its own; waiting for it and reading the cues go side by side.
        rulebook = beside.submit(check_rulebook, settings)
        wording = [*validate(), *check_catalogue()]
    report = rulebook.result()
    report.problems.extend(wording)
    try:
        with open_database(settings) as store:
            report.facts["database"] = store.where
            counter = Counter(store, open_packaged_book(), settings.today)
            learnt = show_prior(counter)
            report.remarks.extend(counter.wording.remark(remark) for remark in learnt.remarks)
            if learnt.learnt_on:
                report.facts["learnt"] = f"{learnt.learnt_on}, {learnt.jobs} stringings"
    except CommandError as error:
        if not any(str(error) in problem for problem in report.problems):
            report.problems.append(str(error))
    return report
