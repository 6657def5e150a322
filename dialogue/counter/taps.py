"""A recording of taps as a reading in Hz: what every channel with a microphone or a file calls; reads no file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dialogue.counter.outcomes import answering, refuse
from rules.physics_book import PhysicsMissing
from rules.tap import Tap
from rules.tap import read_tap as read_frequency

__all__ = ["Tap", "read_tap"]


@answering
def read_tap(samples: Sequence[float] | Any, rate: float) -> Tap:
    """Return the frequency of the stringbed tapped in a recording, its confidence and the single taps, or why not.

    Args:
        samples: numbers whose full scale is one, one a sample; or an array with a column a channel.
        rate: samples a second.
    """
    try:
        tap = read_frequency(samples, rate)
    except PhysicsMissing as error:
        raise refuse("no_tap", "wav", message=str(error)) from error
    if tap.hertz is None:
        raise refuse("no_tap", "wav", message=" ".join(tap.remarks), **tap.to_dict())
    return tap
