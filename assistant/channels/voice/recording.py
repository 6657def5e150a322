"""One recording to what was heard and understood in it, as JSON; holds no conversation."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from speech_recognition import AudioData, AudioSource

from assistant.channels.voice.agreement import Verdict
from assistant.channels.voice.audio import RATE, WIDTH
from assistant.channels.voice.detect import Survey, find_utterances
from assistant.channels.voice.errors import phrase
from assistant.channels.voice.figures import read_figures
from assistant.channels.voice.hear import Hearing, Listener, Question

MOST_UTTERANCES = 3
"""Stretches of speech that are taken as one turn; a longer recording is heard stretch by stretch."""


@dataclass
class _Whole:
    audio: list[AudioData] = field(default_factory=list)
    cut: bool = False


def hear_recording(source: AudioSource, listener: Listener, question: Question) -> dict[str, Any]:
    """Return what was heard in an opened recording: the keys of `hear --json` without the file's name."""
    figures = read_figures().listening
    survey, whole = Survey(), _Whole()
    for utterance in find_utterances(source, survey, figures.longest_file_seconds):
        whole.audio.append(utterance.audio)
        whole.cut |= utterance.cut
    length = getattr(source, "DURATION", 0.0) or survey.seconds
    problems = []
    if length > figures.longest_file_seconds:
        problems.append(phrase("too_long", seconds=round(figures.longest_file_seconds)))
    elif whole.cut:
        problems.append(phrase("too_long", seconds=round(figures.longest_seconds)))
    if survey.clipped_share > figures.clipped_share:
        problems.append(phrase("clipped"))
    if not whole.audio:
        problems.append(phrase("silence" if survey.loudest < figures.quiet_level else "noise"))
        return _answer(None, problems)
    heard = [listener.hear(audio, question) for audio in _joined(whole.audio, figures.longest_seconds)]
    best = next((one for one in heard if one.meaning is not None), heard[0])
    return _answer(best, problems)


def _joined(pieces: list[AudioData], longest: float) -> list[AudioData]:
    """Return neighbouring stretches as one where they are short: a pause for thought does not end an answer."""
    whole = b"".join(piece.frame_data for piece in pieces)
    if len(pieces) <= MOST_UTTERANCES and len(whole) / WIDTH / RATE <= longest:
        return [AudioData(whole, RATE, WIDTH)]
    return pieces


def _answer(heard: Hearing | None, problems: list[str]) -> dict[str, Any]:
    answer: dict[str, Any] = {"heard": "", "second": None, "agree": None, "intent": None, "slots": {}}
    answer |= {"confidence": 0.0, "seconds": 0.0}
    if heard is not None:
        meaning = heard.meaning
        answer |= {
            "heard": heard.text,
            "second": heard.second,
            "agree": _agree(heard),
            "intent": meaning.intent if meaning else None,
            "slots": dict(meaning.slots) if meaning else {},
            "confidence": round(heard.agreed.confidence, 3),
            "seconds": round(heard.seconds, 3),
        }
        if heard.agreed.doubted:
            answer["read_back"] = list(heard.agreed.doubted)
    if problems:
        answer["problem"] = " ".join(problems)
    return answer


def _agree(heard: Hearing) -> bool | None:
    if heard.second is None or heard.agreed.verdict is Verdict.NOTHING:
        return None
    return heard.agreed.verdict is not Verdict.YES_OR_NO and not heard.agreed.apart
