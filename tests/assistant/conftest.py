"""A shell in May with Maya's racquet in the shop, for whatever test asks for one."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell_in_may, string_for_maya


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell in May."""
    return open_shell_in_may(tmp_path, monkeypatch, capsys)


@pytest.fixture
def tag(shell: Shell) -> str:
    """The tag of Maya's racquet, strung and measured."""
    return string_for_maya(shell)
