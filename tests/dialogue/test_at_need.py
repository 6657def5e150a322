"""The first words of a talk wait for no module that only later turns come to."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from dialogue.services import at_need
from dialogue.services.at_need import AtNeed, modules

OPENING = """
import datetime as dt, sys
from pathlib import Path
from assistant.bootstrap import open_conversation, prepare_turns
from assistant.settings import Settings
from dialogue.messages import Message
from dialogue.services.at_need import modules

today = dt.date(2026, 11, 24)
needed = ("dialogue.understanding.understander", *(module for _, module in modules()))
with open_conversation(Settings.build("sqlite://", today, None)) as conversation:
    assert conversation.handle(Message("", "somebody", today=today))[-1].asked == "level"
    print(*[module for module in needed if module in sys.modules], sep=",")
    prepare_turns()
    print(*[module for module in needed if module not in sys.modules], sep=",")
"""


def test_the_opening_words_import_none_of_them_and_the_preparation_all() -> None:
    """A forecast, a label or the language itself is not waited for before somebody has said anything."""
    done = subprocess.run([sys.executable, "-c", OPENING], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["", ""]


def test_each_is_what_the_type_checker_and_the_check_of_the_imports_take_it_for() -> None:
    """The names exported, the imports they are checked by, and what is imported in the end are the same."""
    tree = ast.parse(Path(at_need.__file__).read_text(encoding="utf-8"))
    checked = next(node for node in tree.body if isinstance(node, ast.If))
    declared = {
        (name.name, f"{line.module}.{name.name}")
        for line in checked.body
        if isinstance(line, ast.ImportFrom)
        for name in line.names
    }
    assert set(modules()) == declared
    assert sorted(at_need.__all__) == sorted(name for name, _ in declared)


def test_what_a_module_has_not_is_missed_as_usual() -> None:
    """A wrong name fails as it does on the module itself."""
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = AtNeed("rules.whatif").nothing
    with pytest.raises(ModuleNotFoundError):
        _ = AtNeed("rules.nowhere").nothing
