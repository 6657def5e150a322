"""The typed channel: a terminal with history and colour, plain lines when piped, JSON lines for programs."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from assistant.json_lines import LONGEST_LINE, parse_json, write_line
from dialogue.messages import Reply

Turn = Callable[[str], Sequence[Reply]]
"""Takes what somebody typed and returns the answers."""

VERDICT_STYLES = {
    "restring_now": "bold reverse",
    "restring_soon": "bold underline",
    "play_on": "bold",
    "need_more": "italic",
}
"""Weight, not colour, tells the verdicts apart: some eyes and some terminals see no colour."""


def run_plain(turn: Turn, opening: Sequence[Reply], lines: Iterable[bytes]) -> None:
    """Answer piped lines in plain text."""
    _print_plain(opening)
    for raw in lines:
        replies = turn(decode(raw))
        _print_plain(replies)
        if any(reply.ended for reply in replies):
            return


def run_json(turn: Turn, lines: Iterable[bytes]) -> None:
    """Answer JSON lines {"text": ...} with one JSON line each; a bad line is answered with its error."""
    for raw in lines:
        if not raw.strip():
            continue
        entry = parse_json(raw)
        text = entry.value.get("text") if isinstance(entry.value, dict) else None
        if entry.problem or not isinstance(text, str):
            message = entry.problem or 'A turn is one JSON object with a "text", for example {"text": "twice a week"}.'
            write_line({"error": {"fact": "text", "value": None, "message": message}})
            continue
        replies = turn(text)
        write_line(merge_replies(replies))
        if any(reply.ended for reply in replies):
            return


def run_terminal(
    turn: Turn, opening: Sequence[Reply], history: str | None, meanwhile: Callable[[], None] = lambda: None
) -> None:
    """Talk with somebody at a terminal until they stop; `meanwhile` is done while they read the opening and type."""
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=False)
    _print_rich(console, opening)
    from prompt_toolkit import PromptSession
    from prompt_toolkit.history import FileHistory, InMemoryHistory

    session: PromptSession[str] = PromptSession(history=FileHistory(history) if history else InMemoryHistory())
    threading.Thread(target=meanwhile, daemon=True).start()
    while True:
        try:
            text = session.prompt("> ")
        except (EOFError, KeyboardInterrupt):
            return
        replies = turn(text)
        _print_rich(console, replies)
        if any(reply.ended for reply in replies):
            return


def decode(raw: bytes) -> str:
    """Return a typed line as text; bytes that are no UTF-8 become a mark, and no line is longer than the limit."""
    return raw[:LONGEST_LINE].decode("utf-8", errors="replace").rstrip("\r\n")


def merge_replies(replies: Sequence[Reply]) -> dict[str, Any]:
    """Return the replies of one turn as the one JSON object of `talk --json`."""
    last = replies[-1]
    return {
        "reply": [text for reply in replies for text in reply.text],
        "speech": " ".join(reply.speech for reply in replies if reply.speech),
        "asked": last.asked,
        "choices": [{"text": choice.text, "value": choice.value} for choice in last.choices],
        "facts": dict(last.facts),
        "decision": dict(last.decision) if last.decision else None,
    }


def _paragraphs(replies: Sequence[Reply]) -> Iterator[str]:
    for reply in replies:
        yield from reply.text
    if replies and replies[-1].choices:
        yield "   ".join(f"[{choice.text}]" for choice in replies[-1].choices)


def _print_plain(replies: Sequence[Reply]) -> None:
    for paragraph in _paragraphs(replies):
        sys.stdout.write(paragraph + "\n")
    sys.stdout.write("\n")
    sys.stdout.flush()


def _print_rich(console: Any, replies: Sequence[Reply]) -> None:
    from rich.markup import escape
    from rich.padding import Padding

    for reply in replies:
        style = VERDICT_STYLES.get((reply.decision or {}).get("verdict", ""), "")
        for index, paragraph in enumerate(reply.text):
            shown = f"[{style}]{escape(paragraph)}[/]" if style and index == 0 else escape(paragraph)
            console.print(Padding(shown, (0, 0, 0, 2)))
    choices = replies[-1].choices if replies else ()
    if choices:
        console.print(Padding("[dim]" + escape("   ".join(choice.text for choice in choices)) + "[/]", (0, 0, 0, 2)))
    console.print()
