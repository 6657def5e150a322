"""What the project stands on may be used freely, and the locked releases are within the promised ranges."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import version

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.dependencies import ROOT, list_licences, read_licences, read_lock

FREE = re.compile(
    r"MIT|BSD|Apache|MPL|Mozilla Public|LGPL|Lesser General Public|PSF|Python|CNRI|Zlib|CC0|0BSD|TCL|ISC|Unlicense|"
    r"Public Domain|GPL-3\.0-or-later",
    re.IGNORECASE,
)
"""Licences that let anybody use, change and pass on; one of them must stand in what a package declares."""


def read_ranges() -> list[Requirement]:
    """Return every range of the project file, extras too."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"].values()
    return [Requirement(text) for text in (*project["dependencies"], *(text for extra in extras for text in extra))]


def test_every_package_is_listed_with_a_free_licence() -> None:
    """Nobody has to ask whether a shop may use it."""
    listed = read_licences()
    assert {name: licence for name, licence in listed.items() if not FREE.search(licence)} == {}
    assert set(dict(list_licences())) - set(listed) == set()


def test_the_list_says_what_the_packages_say() -> None:
    """Of each package that is installed here as locked, and that says anything."""
    listed, locked = read_licences(), read_lock()
    differs = {
        name: (declared, listed[name])
        for name, declared in list_licences()
        if declared and any(version(name) in one.specifier for one in locked[name]) and listed[name] != declared
    }
    assert differs == {}


@pytest.mark.parametrize("wanted", read_ranges(), ids=str)
def test_the_locked_release_is_within_its_range(wanted: Requirement) -> None:
    """A lock that the ranges do not allow would be tested and never installed."""
    locked = read_lock()[canonicalize_name(wanted.name)]
    for one in locked:
        (pin,) = one.specifier
        assert wanted.specifier.contains(pin.version, prereleases=True)
