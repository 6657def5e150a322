"""What the project stands on: the releases its gate is run with, and under which licence each may be used.

`python -m tests.dependencies` writes the list of licences anew, from what each installed package says of itself.
"""

from __future__ import annotations

import csv
import io
import re
import sys
from collections.abc import Iterator
from importlib.metadata import Distribution, distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
LOCK = ROOT / ".ci" / "lock.txt"
LICENCES = ROOT / ".ci" / "licences.csv"
LONGEST = 60
"""Characters of a licence's name; some packages put the whole text there."""


def read_lock() -> dict[str, list[Requirement]]:
    """Return the locked releases by package; several where they differ by Python or system."""
    found: dict[str, list[Requirement]] = {}
    for line in LOCK.read_text().splitlines():
        if line and not line.startswith("#"):
            requirement = Requirement(line)
            found.setdefault(canonicalize_name(requirement.name), []).append(requirement)
    return found


def read_licences() -> dict[str, str]:
    """Return the licence of each package, as listed."""
    with LICENCES.open(newline="") as lines:
        return {row["package"]: row["licence"] for row in csv.DictReader(lines)}


def list_licences() -> Iterator[tuple[str, str]]:
    """Yield each locked package that is installed here, with the licence it declares."""
    locked = read_lock()
    installed = {canonicalize_name(found.metadata["Name"]): found for found in distributions()}
    for name in sorted(set(locked) & set(installed)):
        yield name, declared_licence(installed[name])


def declared_licence(package: Distribution) -> str:
    """Return what a package says of its licence: the expression, else its classifiers, else the free text."""
    said = package.metadata
    if expression := said.get("License-Expression"):
        return str(expression)
    kinds = [kind.rpartition(" :: ")[2] for kind in said.get_all("Classifier", []) if kind.startswith("License :: ")]
    free = (said.get("License") or "").strip().split("\n", maxsplit=1)[0]
    return "; ".join(kind for kind in kinds if kind != "OSI Approved") or re.sub(r"\s+", " ", free)[:LONGEST]


if __name__ == "__main__":
    before = read_licences() if LICENCES.exists() else {}
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(("package", "licence"))
    # What a package does not say of itself was looked up by hand, and stays.
    listed = before | {name: licence or before.get(name, "") for name, licence in list_licences()}
    rows.writerows(sorted((name, licence) for name, licence in listed.items() if name in read_lock()))
    LICENCES.write_text(text.getvalue())
    sys.stdout.write(f"{len(listed)} packages; without a licence: {[n for n, found in listed.items() if not found]}\n")
