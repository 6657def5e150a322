"""A WAV file as numbers for the signal work: any width, any number of channels; hears nothing in it."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

from assistant.exits import CommandError, Exit

MOST_BYTES = 64_000_000
"""More than a minute of anything a recorder makes; a larger file is not even opened."""


def read_wav(path: Path) -> tuple[Any, int]:
    """Return the samples with a full scale of one, a column a channel where there are several, and their rate.

    Raises:
        CommandError: when it is not there, too large, or no WAV file; or when scipy is not installed.
    """
    try:
        size = path.stat().st_size
    except FileNotFoundError as error:
        raise CommandError(f"{path} is not there; name a file.", Exit.NOT_FOUND) from error
    except OSError as error:
        raise CommandError(f"{path} cannot be read ({error.strerror}).") from error
    if size > MOST_BYTES:
        raise CommandError(f"{path} has {size // 1_000_000} MB; record three taps, which take ten seconds at most.")
    try:
        from scipy.io import wavfile
    except ModuleNotFoundError as error:
        message = "Reading a recording needs scipy, which is not installed: pip install 'counterpull[physics]'."
        raise CommandError(message) from error
    try:
        with warnings.catch_warnings():
            # a recorder's own notes inside the file, and a length it never came back to write, are no trouble
            warnings.simplefilter("ignore", wavfile.WavFileWarning)
            rate, samples = wavfile.read(path)
    except OSError as error:
        raise CommandError(f"{path} cannot be read ({error.strerror}).") from error
    except Exception as error:  # a broken file fails in scipy wherever it is broken
        raise CommandError(f"{path} is no WAV file, or a damaged one; record it again as WAV.") from error
    return _scale(samples), int(rate)


def _scale(samples: Any) -> Any:
    """Return whole numbers as parts of the full scale of their width."""
    kind = samples.dtype
    if kind.kind == "f":
        return samples
    if kind.kind == "u":
        return (samples.astype("float64") - 128) / 128  # WAV counts its 8 bits from zero up, all others from the middle
    return samples.astype("float64") / 2.0 ** (8 * kind.itemsize - 1)
