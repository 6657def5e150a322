"""What trainees practised is kept card by card and answer by answer, and an older database learns to keep it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from alembic import command
from alembic.config import Config

from storage import schema
from storage.database import Store, open_store
from storage.rows import CustomerRow, PracticeAnswerRow
from tests.storage.conftest import bring_racquet

NOON = dt.datetime(2026, 11, 24, 12, tzinfo=dt.UTC)


def test_a_card_is_kept_once_for_each_trainee_and_row(store: Store) -> None:
    """A second keeping takes the first one's place; the first due comes first."""
    with store.unit("ida") as unit:
        unit.practice.keep_card("ida", "verdict-worn", NOON, {"stability": 1.5})
        unit.practice.keep_card("ida", "reading-worn", NOON + dt.timedelta(days=1), {"stability": 2})
        unit.practice.keep_card("noor", "verdict-worn", NOON, {})
        unit.practice.keep_card("ida", "verdict-worn", NOON + dt.timedelta(days=3), {"stability": 4.5})
        unit.commit()
    with store.view() as unit:
        cards = unit.practice.cards("ida")
    assert [(card.row, card.due_at.day, card.state) for card in cards] == [
        ("reading-worn", 25, {"stability": 2}),
        ("verdict-worn", 27, {"stability": 4.5}),
    ]


def test_answers_are_a_log(store: Store) -> None:
    """Every answer stays with its marks, whoever asks: of one trainee, or of all."""
    with store.unit("ida") as unit:
        for trainee in ("ida", "noor", "ida"):
            unit.practice.log(
                PracticeAnswerRow(
                    trainee=trainee,
                    row="verdict-worn",
                    exercise={"facts": {}},
                    answer={"verdict": "play_on"},
                    marks={"verdict": False},
                    rulebook="abc",
                )
            )
        unit.commit()
    with store.view() as unit:
        assert unit.practice.trainees() == ("ida", "noor")
        assert [answer.id for answer in unit.practice.answers("ida")] == [1, 3]
        assert len(unit.practice.answers()) == 3
        assert unit.practice.answers()[0].created_at
        assert unit.practice.answers()[0].marks == {"verdict": False}


def test_an_older_database_is_brought_up_with_all_it_holds(path: Path) -> None:
    """A file of the first form opens as one of the newest: customers, racquets and guards are as they were."""
    with open_store(f"sqlite:///{path}") as store:
        stored = bring_racquet(store).customer
        settings = Config()
        settings.set_main_option("script_location", str(schema.FOLDER))
        settings.set_main_option("path_separator", "os")
        with store.engine.connect() as connection:
            settings.attributes["connection"] = connection
            connection.begin()
            command.downgrade(settings, "0001")
            connection.commit()
    with open_store(f"sqlite:///{path}") as store:
        with store.view() as unit:
            assert unit.customers.all() == (stored,)
        with store.unit() as unit:
            changed = unit.customers.change(stored.id, group="junior")
            unit.commit()
        assert isinstance(changed, CustomerRow)
        assert changed.group == "junior"
