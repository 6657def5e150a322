"""What may be wrong with the cue files, each problem with its file and row; knows nothing of what people say."""

from __future__ import annotations

from dialogue.errors import DialogueError


class CueBroken(DialogueError):
    """A cue file, or one row of it, cannot be used."""

    def __init__(self, file: str, row: str, problem: str) -> None:
        super().__init__(f"cues/{file}: {row}: {problem}")
        self.file = file
        self.row = row
        self.problem = problem
