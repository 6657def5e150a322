"""Who works at the counter, with a PIN that is stored as an Argon2 hash only."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from dialogue.counter.counter import Counter
from dialogue.counter.limits import check_choice, check_text
from dialogue.counter.outcomes import Outcome, answering, refuse
from storage.errors import NotFound
from storage.rows import StaffRow

PIN = re.compile(r"\d{4,12}")


@dataclass(frozen=True, kw_only=True)
class Staff(Outcome):
    """Members of staff; none of them with a PIN."""

    staff: tuple[StaffRow, ...]


@dataclass(frozen=True, kw_only=True)
class SignIn(Outcome):
    """Whether a PIN was right."""

    name: str
    welcome: bool


@answering
def add_staff(counter: Counter, name: str, role: str, pin: str) -> Staff:
    """Take down a member of staff, or give one a new PIN and role."""
    kept = check_text("name", name, "name_characters")
    if not kept:
        raise refuse("name_missing", "name")
    check_choice("role", role)
    if not PIN.fullmatch(pin):
        raise refuse("pin_form", "pin")
    hashed = PasswordHasher().hash(pin)
    with counter.work() as unit:
        known = unit.staff.named(kept)
        if known:
            row = unit.staff.change(known.id, pin_hash=hashed, role=role, active=True)
        else:
            row = unit.staff.add(StaffRow(name=kept, pin_hash=hashed, role=role))
        return Staff(staff=(row,))


def retire_staff(counter: Counter, name: str) -> Staff:
    """Let a member of staff sign in no more; the audit trail keeps the name.

    Raises:
        NotFound: when nobody of that name works here.
    """
    with counter.work() as unit:
        known = unit.staff.named(name)
        if known is None:
            raise NotFound("staff", name)
        return Staff(staff=(unit.staff.change(known.id, active=False),))


def list_staff(counter: Counter) -> Staff:
    """Return who may sign in, by name."""
    with counter.look() as unit:
        return Staff(staff=unit.staff.active())


def verify_pin(counter: Counter, name: str, pin: str) -> SignIn:
    """Tell whether a PIN is right; an unknown name takes as long as a known one."""
    with counter.look() as unit:
        known = unit.staff.named(name)
    stored = known.pin_hash if known and known.active else _nobodys_hash()
    try:
        # Half a letter, which no PIN holds, must be refused like any other wrong one.
        PasswordHasher().verify(stored, pin.encode(errors="replace"))
    except (Argon2Error, InvalidHashError):
        return SignIn(name=name, welcome=False)
    return SignIn(name=name, welcome=bool(known and known.active))


@cache
def _nobodys_hash() -> str:
    """Return a hash to compare with where there is none, made once so that an unknown name costs one comparison."""
    return PasswordHasher().hash("0000")
