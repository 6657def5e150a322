"""`understand`: utterances in, intent and slots out, for tuning the wording and for tests."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from assistant.exits import Exit
from assistant.json_lines import parse_json, write_line
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="answer in JSON lines")
    parser.add_argument("--explain", action="store_true", help="show stage by stage what was seen")
    parser.add_argument("--asked", metavar="SLOT", help="the slot just asked about, for lines of plain text")
    parser.add_argument("--channel", choices=("typed", "voice"), default="typed", help="how plain lines were said")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Read JSON lines {"id", "text", "asked", "channel"} or plain lines and answer each."""
    from dialogue.understanding import understand

    for raw in sys.stdin.buffer:
        if not raw.strip():
            continue
        asking = _read(raw, options)
        if "error" in asking:
            write_line(asking)
            continue
        heard = understand(
            asking["text"],
            asked=asking["asked"],
            channel=asking["channel"],
            today=settings.today,
            explain=options.explain,
        )
        answer: dict[str, Any] = {"id": asking["id"], "intent": heard.intent, "slots": dict(heard.slots)}
        answer["confidence"] = round(heard.confidence, 3)
        for name in ("operations", "questions", "suggestions"):
            if getattr(heard, name):
                answer[name] = list(getattr(heard, name))
        if options.explain:
            answer["stages"] = [list(stage) for stage in heard.stages]
        if options.json:
            write_line(json.loads(json.dumps(answer, default=str)))
        else:
            _show(asking["text"], answer)
    return Exit.DONE


def _read(raw: bytes, options: argparse.Namespace) -> dict[str, Any]:
    text = raw.decode("utf-8", errors="replace").strip()
    if not text.startswith("{"):
        return {"id": None, "text": text, "asked": options.asked, "channel": options.channel}
    entry = parse_json(raw)
    if entry.problem:
        return {"error": {"fact": "utterance", "value": None, "message": entry.problem}}
    if not isinstance(entry.value.get("text"), str):
        message = 'An utterance needs a "text", for example {"text": "twice a week", "asked": "plays_per_week"}.'
        return {"error": {"fact": "text", "value": None, "message": message}}
    asked = entry.value.get("asked")
    return {
        "id": entry.value.get("id"),
        "text": entry.value["text"],
        "asked": asked if isinstance(asked, str) else None,
        "channel": "voice" if entry.value.get("channel") == "voice" else "typed",
    }


def _show(text: str, answer: dict[str, Any]) -> None:
    out = sys.stdout
    out.write(f"{text}\n  {answer['intent']} ({answer['confidence']})\n")
    for slot, value in answer["slots"].items():
        out.write(f"  {slot}: {json.dumps(value, ensure_ascii=False)}\n")
    for name in ("operations", "questions", "suggestions"):
        if name in answer:
            out.write(f"  {name}: {', '.join(answer[name])}\n")
    for stage, seen in answer.get("stages", []):
        out.write(f"  [{stage}] {json.dumps(seen, ensure_ascii=False, default=str)}\n")
    out.flush()
