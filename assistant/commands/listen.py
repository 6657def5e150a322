"""`listen`: the same conversation by voice, from the microphone or from recordings."""

from __future__ import annotations

import argparse
import sys
import uuid
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.exits import CommandError, Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from assistant.channels.voice.ears import Ears
    from assistant.channels.voice.loop import Habits, Turn, VoiceLoop
    from assistant.channels.voice.screen import Screen
    from assistant.channels.voice.speak import Mouth
    from dialogue.conversation import Conversation
    from dialogue.messages import Reply


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--wav", metavar="FILE", nargs="+", help="hear recordings instead; - is standard input")
    parser.add_argument("--device", metavar="NAME", help="part of the microphone's name")
    parser.add_argument("--push-to-talk", action="store_true", help="hear only after Enter, or a pedal that sends it")
    parser.add_argument("--wake", metavar="PHRASE", nargs="?", const="", help="hear only after these words")
    parser.add_argument("--barge-in", action="store_true", help="speech stops the talking; for a headset")
    parser.add_argument("--keep", metavar="FOLDER", help="keep recordings of what is said, and say so aloud")
    parser.add_argument("--speech", metavar="FOLDER", help="write what is said as WAV files instead of playing it")
    parser.add_argument("--silent", action="store_true", help="show the answers and say nothing")
    parser.add_argument(
        "--model", metavar="FOLDER", help="a Whisper model for CTranslate2 (default: the one that comes along)"
    )
    parser.add_argument("--conversation", metavar="NAME", help="go on with the conversation of this name")
    parser.add_argument("--json", action="store_true", help="one JSON line a turn, as talk --json, with what was heard")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Hold one spoken conversation until it ends or the recordings do."""
    from assistant.bootstrap import open_conversation, open_listener

    with ExitStack() as open_things:
        # First of all the ears: where they cannot be had, their error says how to go on without.
        listener = open_things.enter_context(open_listener(options.model))
        from assistant.channels.voice.errors import VoiceProblem
        from assistant.channels.voice.loop import VoiceLoop
        from assistant.channels.voice.screen import JsonScreen, PlainScreen

        screen: Screen = JsonScreen() if options.json else PlainScreen()
        conversation = open_things.enter_context(open_conversation(settings))
        if listener.ears.problem is not None:
            screen.note(listener.ears.problem)
        turn = _take_turns(conversation, options.conversation or f"listen-{uuid.uuid4()}", settings)
        loop = VoiceLoop(turn, listener, screen, _habits(options, settings, listener.ears))
        open_things.callback(loop.close)
        loop.mouth = _open_mouth(options, screen)
        loop.begin(turn("", channel="typed"))
        try:
            _run(options, loop, screen)
        except VoiceProblem as problem:
            raise CommandError(str(problem)) from problem
        if loop.mouth is not None and not loop.ended:
            loop.mouth.wait(timeout=30)
    return Exit.DONE


def _take_turns(conversation: Conversation, sender: str, settings: Settings) -> Turn:
    from dialogue.messages import Message

    def turn(text: str, *, channel: str = "voice", doubted: tuple[str, ...] = ()) -> Sequence[Reply]:
        return conversation.handle(Message(text, sender, channel, settings.today, doubted=doubted))

    return turn


def _habits(options: argparse.Namespace, settings: Settings, ears: Ears) -> Habits:
    from assistant.bootstrap import customer_names
    from assistant.channels.voice.figures import read_figures
    from assistant.channels.voice.loop import Habits
    from assistant.channels.voice.wake import WakeEar

    wake: WakeEar | None = None
    if options.wake is not None and ears.words is not None:
        wake = WakeEar(ears.words, options.wake or read_figures().wake_phrase)
    names = customer_names(settings)
    return Habits(
        today=settings.today,
        push_to_talk=options.push_to_talk and not options.wav,
        wake=wake,
        barge_in=options.barge_in,
        recording=bool(options.wav),
        keep=Path(options.keep) if options.keep else None,
        people=lambda: names,
    )


def _open_mouth(options: argparse.Namespace, screen: Screen) -> Mouth | None:
    """Return the mouth, or None where answers are only shown."""
    from assistant.channels.voice.errors import VoiceProblem
    from assistant.channels.voice.speak import FolderPlayer, Loudspeaker, Mouth, Player, Speaker

    # Recordings come faster than anybody could answer them, so they are not answered aloud unless asked.
    if options.silent or (options.wav and not options.speech):
        return None
    try:
        player: Player = FolderPlayer(Path(options.speech)) if options.speech else Loudspeaker()
        return Mouth(Speaker(), player)
    except VoiceProblem as problem:
        screen.note(str(problem))
        return None


def _run(options: argparse.Namespace, loop: VoiceLoop, screen: Screen) -> None:
    from assistant.channels.voice.audio import MicrophoneSource, WavSource, read_stdin
    from assistant.channels.voice.errors import VoiceProblem, phrase
    from assistant.channels.voice.keys import read_keys

    for name in options.wav or ():
        try:
            with read_stdin(sys.stdin.buffer) if name == "-" else WavSource(name) as source:
                loop.run(source)
        except VoiceProblem as problem:
            # One bad recording must not cost the others, nor what was said so far.
            screen.note(str(problem))
            if len(options.wav) == 1:
                raise
        if loop.ended:
            return
    if options.wav:
        return
    with MicrophoneSource(options.device) as source:
        screen.note(phrase("device", name=source.name))
        ready = "ready_push" if options.push_to_talk else "ready_wake" if loop.wake_phrase else "ready_open"
        screen.note(phrase(ready, phrase=loop.wake_phrase))
        read_keys(loop.type)
        loop.run(source)
