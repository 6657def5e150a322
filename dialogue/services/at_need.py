"""What most talks never come to: modules imported when something of them is first asked for; holds no use case."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import TYPE_CHECKING, Any

__all__ = [
    "advice",
    "advice_why",
    "bench",
    "customers",
    "drop_off",
    "explaining",
    "forecast_book",
    "foresee",
    "fresh",
    "labels",
    "left",
    "matching",
    "near_misses",
    "pickup",
    "readings",
    "turning",
    "whatif",
]

if TYPE_CHECKING:
    from dialogue.counter import bench, customers, drop_off, labels, pickup, readings
    from dialogue.forecasts import foresee, fresh, matching
    from dialogue.rulebooks import explaining
    from dialogue.services import left
    from rules import advice, advice_why, forecast_book, near_misses, turning, whatif


class AtNeed:
    """A module that is not imported before somebody asks for something in it.

    The first words of a talk wait for every import of the services; whoever only asks when strings are due needs
    neither forecast nor label. `import_all` fetches the rest while somebody reads, or before a server opens.
    """

    def __init__(self, module: str) -> None:
        self._module = module

    def __getattr__(self, name: str) -> Any:
        found = getattr(import_module(self._module), name)
        setattr(self, name, found)
        return found


HOMES = {
    "dialogue.counter": ("bench", "customers", "drop_off", "labels", "pickup", "readings"),
    "dialogue.forecasts": ("foresee", "fresh", "matching"),
    "dialogue.rulebooks": ("explaining",),
    "dialogue.services": ("left",),
    "rules": ("advice", "advice_why", "forecast_book", "near_misses", "turning", "whatif"),
}
"""Where each is at home, as a type checker and the check of the imports read it above."""


def modules() -> Iterator[tuple[str, str]]:
    """Yield each module's name here and its full one."""
    return ((name, f"{home}.{name}") for home, names in HOMES.items() for name in names)


def import_all() -> None:
    """Import them all now, so that no turn waits for one."""
    for _, module in modules():
        import_module(module)


if not TYPE_CHECKING:
    globals().update({name: AtNeed(module) for name, module in modules()})
