"""What the shop's own stringings teach the forecast: learnt, kept as a setting with its date, read, forgotten."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.outcomes import Outcome, Remark
from dialogue.forecasts.stringings import job_of
from rules.forecast import usual_loss
from rules.forecast_answer import Band
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_history import Job
from rules.forecast_prior import ShopPrior, expect_from_book
from rules.forecast_shop import learn_shop_prior
from storage.unit_of_work import UnitOfWork

KEY = "forecast_prior"
"""The setting that holds it."""
FORM = 1
"""Grows whenever what is kept means something else; anything of another form is not used."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class KeptPrior:
    """What is kept, or why it is not used."""

    prior: ShopPrior | None = None
    """None: forecasts rest on the book alone."""
    trouble: Remark | None = None
    """Why something is kept that is not used."""


@dataclass(frozen=True, kw_only=True)
class StringsLearnt(Outcome):
    """What was learnt of one kind of strings read by one kind of instrument, beside what the book expects."""

    mains_material: str | None
    crosses_material: str | None
    kind: str | None
    jobs: int
    loss_percent: Band
    """To be expected at `days`."""
    book_loss_percent: Band


@dataclass(frozen=True, kw_only=True)
class PriorShown(Outcome):
    """What the forecast knows of this shop."""

    learnt_on: dt.date | None
    """None where it knows nothing."""
    jobs: int
    left_out: int
    """Readings too far off to be learnt from."""
    days: int
    """Since stringing: for which the losses are told."""
    strings: tuple[StringsLearnt, ...]
    prior: dict[str, Any] | None
    """As kept."""
    remarks: tuple[Remark, ...] = ()


def learn_prior(counter: Counter, progress: Progress | None = None) -> PriorShown:
    """Learn from every stringing that was measured fresh and later, and keep it; with none of them nothing is kept."""
    book = load_forecast_book()
    with counter.look() as unit:
        total = unit.measured.count()

        def tell(share: float) -> None:
            if progress is not None:
                progress(total + round(share * total), 2 * total)

        prior = learn_shop_prior(_read(unit, book, total, progress), counter.today, book, tell)
    if not prior.jobs:
        return _show(KeptPrior(), book, (Remark(reason="nothing_to_learn"),))
    with counter.work() as unit:
        unit.settings.set(KEY, {"form": FORM, "prior": prior.to_dict()})
    return _show(KeptPrior(prior), book)


def show_prior(counter: Counter) -> PriorShown:
    """Return what is kept, and why it is not used where it is not."""
    book = load_forecast_book()
    with counter.look() as unit:
        kept = read_prior(unit, counter.today, book)
    return _show(kept, book, (kept.trouble,) if kept.trouble else ())


def forget_prior(counter: Counter) -> bool:
    """Go back to the book alone; tell whether there was anything to forget."""
    with counter.work() as unit:
        if unit.settings.value(KEY) is None:
            return False
        unit.settings.set(KEY, None)
        return True


def read_prior(unit: UnitOfWork, today: dt.date, book: ForecastBook) -> KeptPrior:
    """Return what is kept; damaged, of another version, too old or of a later day it is not used, and said why."""
    kept = unit.settings.value(KEY)
    if kept is None:
        return KeptPrior()
    if not isinstance(kept, dict) or kept.get("form") != FORM:
        return KeptPrior(None, Remark(reason="prior_of_another_version"))
    try:
        prior = ShopPrior.from_dict(kept["prior"])
    except (KeyError, IndexError, AttributeError, TypeError, ValueError, OverflowError):
        return KeptPrior(None, Remark(reason="prior_damaged"))
    if prior.learnt_on > today:
        return KeptPrior(None, Remark(reason="prior_of_a_later_day", values={"day": prior.learnt_on}))
    most = int(book.figures.shop_prior_days.value)
    if (today - prior.learnt_on).days > most:
        return KeptPrior(None, Remark(reason="prior_too_old", values={"day": prior.learnt_on, "days": most}))
    return KeptPrior(prior)


def _read(unit: UnitOfWork, book: ForecastBook, total: int, progress: Progress | None) -> Iterator[Job]:
    for done, stringing in enumerate(unit.measured.all(), 1):
        yield job_of(stringing, book)
        if progress is not None and (done % 200 == 0 or done == total):
            progress(done, 2 * total)


def _show(kept: KeptPrior, book: ForecastBook, remarks: tuple[Remark, ...] = ()) -> PriorShown:
    prior, days = kept.prior, int(book.figures.reference_days.value)
    rows = sorted(prior.populations.items(), key=lambda row: -row[1].jobs) if prior else ()
    return PriorShown(
        learnt_on=prior.learnt_on if prior else None,
        jobs=prior.jobs if prior else 0,
        left_out=prior.left_out if prior else 0,
        days=days,
        strings=tuple(
            StringsLearnt(
                mains_material=strings[0] and strings[0].value,
                crosses_material=strings[1] and strings[1].value,
                kind=kind and kind.value,
                jobs=population.jobs,
                loss_percent=usual_loss(population, days, book),
                book_loss_percent=usual_loss(expect_from_book(strings, book), days, book),
            )
            for (strings, kind), population in rows
        ),
        prior=prior.to_dict() if prior else None,
        remarks=remarks,
    )
