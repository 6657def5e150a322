"""The cue files are sound, and what is wrong with an unsound one is named by file, row and remedy."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from dialogue.understanding import understand, validate
from dialogue.understanding.cuebook import CUE_FOLDER
from dialogue.understanding.understander import Understander
from tests.dialogue.understanding.scoring import REFERENCE_DAY

ROW = "rows:\n"
FAULTS = [
    ("plays_per_week.yaml", "  - {says: often}\n", "row 1", "needs an `id:`"),
    ("plays_per_week.yaml", "  - {id: x, says: often, spelt: wrong}\n", "x", "unknown keys ['spelt']"),
    ("plays_per_week.yaml", "  - {id: x}\n", "x", "needs `says:`"),
    ("plays_per_week.yaml", '  - {id: x, says: "(often"}\n', "x", "the bracket ( is not closed"),
    ("plays_per_week.yaml", '  - {id: x, says: "often)"}\n', "x", "a bracket closes that never opened"),
    ("plays_per_week.yaml", '  - {id: x, says: "<never_listed> a week"}\n', "x", "<never_listed> is not a word list"),
    ("plays_per_week.yaml", '  - {id: x, says: "[often]"}\n', "x", "every word is optional"),
    ("plays_per_week.yaml", "  - {id: x, says: often, confidence: 2}\n", "x", "has confidence 2"),
    ("plays_per_week.yaml", "  - {id: per_week, says: often}\n", "per_week", "two rows bear this id"),
    ("plays_per_week.yaml", "  - {id: x, says: often, reads: tea_leaves}\n", "x", "reads 'tea_leaves'"),
    ("plays_per_week.yaml", "  - {id: x, says: often, asked: shoe_size}\n", "x", "asks for 'shoe_size'"),
    ("plays_per_week.yaml", "  - {id: x, says: isn't often, value: 1}\n", "x", 'can never fire on "isn\'t often"'),
    (
        "level.yaml",
        "  - {id: x, says: zz top, value: competitive}\n  - {id: y, says: zz top, value: fun}\n",
        "y",
        "fights",
    ),
    ("acts_flow.yaml", "  - {id: x, intent: yodel, says: yodel}\n", "x", "unknown intent 'yodel'"),
    ("acts_soft.yaml", "  - {id: x, intent: stop}\n", "x", "needs `has:`"),
    ("acts_soft.yaml", "  - {id: x, intent: stop, has: [[a]], spelt: wrong}\n", "x", "unknown keys ['spelt']"),
    ("acts_soft.yaml", "  - {id: x, intent: stop, has: [[zz]], unless: [zz]}\n", "x", "can never fire"),
    ("acts_soft.yaml", "  - {id: x, intent: yodel, has: [[zz]]}\n", "x", "unknown intent 'yodel'"),
]


def test_the_shipped_cue_files_are_sound() -> None:
    """No row is malformed, unreachable or at odds with another."""
    assert validate() == []


@pytest.mark.parametrize(("file", "row", "name", "problem"), FAULTS, ids=[fault[3] for fault in FAULTS])
def test_a_fault_is_named_with_file_and_row(tmp_path: Path, file: str, row: str, name: str, problem: str) -> None:
    """Each kind of fault is found, one row at a time."""
    folder = shutil.copytree(CUE_FOLDER, tmp_path / "cues")
    text = (folder / file).read_text(encoding="utf8")
    before, rows = text.split(ROW, 1)
    (folder / file).write_text(before + ROW + row + rows, encoding="utf8")
    problems = validate(folder)
    assert any(found.startswith(f"cues/{file}: ") and name in found and problem in found for found in problems), (
        problems
    )


@pytest.mark.parametrize("file", sorted(path.name for path in CUE_FOLDER.glob("*.yaml")))
def test_a_missing_file_is_named(tmp_path: Path, file: str) -> None:
    """Whichever cue file is missing, its name is told."""
    folder = shutil.copytree(CUE_FOLDER, tmp_path / "cues")
    (folder / file).unlink()
    problems = validate(folder)
    assert problems
    assert file in problems[0]
    assert "put it back" in problems[0]


def test_broken_yaml_is_named_with_its_line(tmp_path: Path) -> None:
    """A slip in YAML is told by file and line."""
    folder = shutil.copytree(CUE_FOLDER, tmp_path / "cues")
    (folder / "sport.yaml").write_text("slot: sport\nrows:\n  - {id: [\n", encoding="utf8")
    assert any("cues/sport.yaml: line" in problem for problem in validate(folder))


def test_every_phrasing_that_is_offered_is_understood() -> None:
    """A choice that is tapped must not be met with the same choices again."""
    suggestions = Understander().suggestions
    lost = [
        said
        for slot, said in suggestions.phrasings()
        if (meant := understand(said, asked=slot, today=REFERENCE_DAY)).suggestions or meant.intent == "out_of_scope"
    ]
    assert lost == []
