"""What may go wrong in the dialogue, each error carrying what, where and what to do."""

from __future__ import annotations

from collections.abc import Sequence


class DialogueError(Exception):
    """Base of every error of this package; its text is for the people who keep the shop's files, not for customers."""


class PhraseMissing(DialogueError):
    """A response key, or a value one of its sentences names, is not there."""

    def __init__(self, key: str, problem: str) -> None:
        super().__init__(f"domain/responses: {key}: {problem}")
        self.key = key
        self.problem = problem


class DomainBroken(DialogueError):
    """The domain files cannot be used together; carries every problem found."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("; ".join(problems))
        self.problems = tuple(problems)


class ActionWaited(DialogueError):
    """An action waited for something, which no turn may do: its work must be done when it returns."""

    def __init__(self, action: str) -> None:
        super().__init__(f"{action}: suspended in the middle of a turn; do slow work outside the conversation")
        self.action = action


class TurnLooped(DialogueError):
    """The policy never came to the end of a turn."""

    def __init__(self, actions: Sequence[str]) -> None:
        super().__init__(f"policy: no end after {', '.join(actions)}")
        self.actions = tuple(actions)


class ValueRefused(DialogueError):
    """A value cannot be, as the rulebook's limits say; its text may be shown to a person."""

    def __init__(self, slot: str, message: str) -> None:
        super().__init__(message)
        self.slot = slot
        self.message = message


class DayMissing(DialogueError):
    """A channel handed in a turn without its day, and nobody here reads a clock."""

    def __init__(self, channel: str) -> None:
        super().__init__(f"{channel}: the message has no day; fill in today")
        self.channel = channel
