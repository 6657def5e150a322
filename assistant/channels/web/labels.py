"""One label as PDF for the board's print button, at the usual size; knows no browser."""

from __future__ import annotations

from assistant.channels.web.wording import load_limits
from assistant.labels.content import write_label
from assistant.labels.pdf import draw_labels, read_size
from dialogue.counter.counter import Counter
from dialogue.counter.labels import find_labels
from dialogue.counter.outcomes import Refusal, Refused


def print_label(counter: Counter, tag: str) -> bytes:
    """Return the label of the stringing that bears the tag.

    Raises:
        Refused: when it has no date yet.
    """
    found = find_labels(counter, (tag,))
    if isinstance(found, Refusal):
        raise Refused(found)
    wording = counter.wording
    size = read_size(load_limits()["label_size"], wording)
    return draw_labels([write_label(facts, wording) for facts in found.labels], size, wording)
