"""Where sound comes from: recordings, a microphone, bytes from a browser, all as one kind of source; hears nothing."""

from __future__ import annotations

import io
import queue
import struct
import threading
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np
import numpy.typing as npt
from speech_recognition import AudioSource

from assistant.channels.voice.errors import VoiceProblem

RATE = 16_000
"""Samples a second in everything that is heard."""
WIDTH = 2
"""Bytes a sample."""
CHUNK = 512
"""Samples that the detector looks at in one go: 32 ms."""
CHUNK_SECONDS = CHUNK / RATE
PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
SILENT_SECONDS = 3.0
"""A microphone that gives nothing for so long has gone."""
LONGEST_STREAM = 256_000_000
"""Bytes of a recording on standard input that are read at most."""
Samples = npt.NDArray[Any]


class WavSource(AudioSource):  # type: ignore[misc]
    """A WAV recording of any rate, width and number of channels, given out as 16-bit mono at its own rate."""

    def __init__(self, file: str | Path | BinaryIO, name: str = "") -> None:
        self.name = name or str(file)
        self._file = file
        self._open: BinaryIO | None = None
        self.SAMPLE_RATE = RATE
        self.SAMPLE_WIDTH = WIDTH
        self.CHUNK = CHUNK
        self.DURATION = 0.0
        self.stream: _WavStream | None = None

    def __enter__(self) -> Self:
        try:
            self._open = Path(self._file).open("rb") if isinstance(self._file, str | Path) else self._file
        except FileNotFoundError as error:
            raise VoiceProblem("file_missing", file=self.name) from error
        except OSError as error:
            raise VoiceProblem("file_unreadable", file=self.name, why=error.strerror) from error
        self.stream = _WavStream(self._open, self.name)
        self.SAMPLE_RATE = self.stream.rate
        self.DURATION = self.stream.frames / self.stream.rate
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._open is not None and isinstance(self._file, str | Path):
            self._open.close()
        self.stream = None


class _WavStream:
    """The samples of a WAV file from its first one on."""

    def __init__(self, file: BinaryIO, name: str) -> None:
        self._file = file
        self._name = name
        if file.read(4) not in {b"RIFF", b"RIFX"} or not file.read(4) or file.read(4) != b"WAVE":
            raise VoiceProblem("file_no_wav", file=name)
        coding, channels, rate, bits, size = self._header()
        if coding not in {PCM, FLOAT} or (coding, bits) not in {(PCM, 8), (PCM, 16), (PCM, 24), (PCM, 32), (FLOAT, 32)}:
            raise VoiceProblem("file_coding", file=name, coding=f"{coding}, {bits} bits")
        if not channels or not rate or not size:
            raise VoiceProblem("file_empty", file=name)
        self.rate, self._channels, self._coding, self._bytes = rate, channels, coding, bits // 8
        self.frames = self._left = size // (self._bytes * channels)

    def _header(self) -> tuple[int, int, int, int, int]:
        form = (0, 0, 0, 0)
        while True:
            head = self._file.read(8)
            if len(head) < 8:  # noqa: PLR2004 - a chunk's name and length
                raise VoiceProblem("file_no_wav", file=self._name)
            name, size = struct.unpack("<4sI", head)
            if name == b"data":
                return (*form, size)
            body = self._file.read(size + size % 2)
            if name == b"fmt " and len(body) >= 16:  # noqa: PLR2004 - the fixed part of the format
                coding, channels, rate, _, _, bits = struct.unpack("<HHIIHH", body[:16])
                if coding == EXTENSIBLE and len(body) >= 26:  # noqa: PLR2004 - where the true coding stands
                    coding = struct.unpack("<H", body[24:26])[0]
                form = (coding, channels, rate, bits)

    def read(self, count: int) -> bytes:
        """Return up to so many frames as 16-bit mono; no bytes at the end."""
        raw = self._file.read(min(count, self._left) * self._bytes * self._channels)
        frames = len(raw) // (self._bytes * self._channels)
        self._left -= frames
        samples = self._decode(raw[: frames * self._bytes * self._channels])
        if self._channels > 1:
            samples = samples.reshape(-1, self._channels).mean(axis=1)
        return to_bytes(samples)

    def _decode(self, raw: bytes) -> Samples:
        if self._coding == FLOAT:
            floats: Samples = np.nan_to_num(np.frombuffer(raw, "<f4"))
            return floats
        if self._bytes == 1:
            return ((np.frombuffer(raw, "u1").astype(np.float32)) - 128) / 128
        if self._bytes == 3:  # noqa: PLR2004 - 24 bits
            padded = np.zeros((len(raw) // 3, 4), "u1")
            padded[:, 1:] = np.frombuffer(raw, "u1").reshape(-1, 3)
            wide: Samples = padded.view("<i4").reshape(-1).astype(np.float32) / 2**31
            return wide
        whole = np.frombuffer(raw, "<i2" if self._bytes == WIDTH else "<i4")
        samples: Samples = whole.astype(np.float32) / 2 ** (8 * self._bytes - 1)
        return samples


class BytesSource(AudioSource):  # type: ignore[misc]
    """Packets of 16-bit mono from elsewhere, for example a browser; `put` hands them in from any thread."""

    def __init__(self, rate: int = RATE, patience: float = SILENT_SECONDS) -> None:
        self.SAMPLE_RATE = rate
        self.SAMPLE_WIDTH = WIDTH
        self.CHUNK = CHUNK
        self.stream = self
        self._packets: queue.Queue[bytes | None] = queue.Queue()
        self._patience = patience
        self._rest = b""
        self._closed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def put(self, packet: bytes) -> None:
        """Hand in the next sound."""
        self._packets.put(packet)

    def close(self) -> None:
        """End the stream after what was handed in."""
        self._packets.put(None)

    def read(self, count: int) -> bytes:
        """Return so many frames, or fewer at the end; waits for them.

        Raises:
            VoiceProblem: when nothing comes any more though the stream was not closed.
        """
        while len(self._rest) < count * WIDTH and not self._closed:
            try:
                packet = self._packets.get(timeout=self._patience)
            except queue.Empty as error:
                raise VoiceProblem("device_gone") from error
            if packet is None:
                self._closed = True
            else:
                self._rest += packet
        given, self._rest = self._rest[: count * WIDTH], self._rest[count * WIDTH :]
        return given[: len(given) // WIDTH * WIDTH]


class MicrophoneSource(BytesSource):
    """A microphone of this machine."""

    def __init__(self, device: str | None = None) -> None:
        super().__init__()
        self._device = device
        self._input: Any = None
        self.name = ""

    def __enter__(self) -> Self:
        try:
            import sounddevice
        except ImportError as error:
            raise VoiceProblem("no_library") from error
        except OSError as error:
            raise VoiceProblem("no_portaudio") from error
        known = [found["name"] for found in sounddevice.query_devices() if found["max_input_channels"] > 0]
        if not known:
            raise VoiceProblem("no_microphone")
        if self._device is not None and not any(self._device.lower() in name.lower() for name in known):
            raise VoiceProblem("device_unknown", name=self._device, known=", ".join(known))
        try:
            found = sounddevice.query_devices(self._device, "input")
            self.name = found["name"]
            self._input = self._start(sounddevice, found)
        except (sounddevice.PortAudioError, ValueError) as error:
            raise VoiceProblem("no_microphone") from error
        return self

    def _start(self, sounddevice: Any, found: Any) -> Any:
        """Open the device at the rate that is heard, or at its own where it refuses."""
        for rate in (RATE, int(found["default_samplerate"])):
            try:
                stream = sounddevice.RawInputStream(
                    samplerate=rate, channels=1, dtype="int16", device=self._device, callback=self._take
                )
                stream.start()
            except sounddevice.PortAudioError:
                if rate != RATE:
                    raise
            else:
                self.SAMPLE_RATE = rate
                return stream
        return None

    def _take(self, data: Any, *_: Any) -> None:
        self.put(bytes(data))

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._input is not None:
            # A device that was pulled out may hang on stopping; the way back to typing must not wait for it.
            threading.Thread(target=self._input.abort, daemon=True).start()
        super().__exit__(kind, error, trace)


class Resampler:
    """Turns a stream of 16-bit mono of any rate into 16 kHz, piece by piece, without a seam."""

    TAPS = 63

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._step = rate / RATE
        self._at = 0.0
        # Anything above half the new rate would fold back into speech, so it is taken out first.
        cutoff = min(1.0, 0.92 * RATE / rate)
        spread = np.arange(self.TAPS) - (self.TAPS - 1) / 2
        taps = np.sinc(cutoff * spread) * np.hamming(self.TAPS)
        self._taps = (taps / taps.sum()).astype(np.float32)
        self._past = np.zeros(self.TAPS - 1, np.float32)
        self._last = np.zeros(1, np.float32)

    def feed(self, raw: bytes) -> bytes:
        """Return the next stretch at 16 kHz."""
        if self._rate == RATE or not raw:
            return raw
        samples = to_samples(raw)
        if self._rate > RATE:
            whole = np.concatenate([self._past, samples])
            self._past = whole[-(self.TAPS - 1) :]
            samples = np.convolve(whole, self._taps, "valid").astype(np.float32)
        line = np.concatenate([self._last, samples])
        places = np.arange(self._at, len(line) - 1, self._step)
        self._at = (places[-1] + self._step if len(places) else self._at) - (len(line) - 1)
        self._last = line[-1:]
        return to_bytes(np.interp(places, np.arange(len(line)), line).astype(np.float32))


def read_chunks(source: AudioSource) -> Iterator[bytes]:
    """Yield an opened source as chunks of 32 ms of 16 kHz, 16-bit mono; the last one is filled up with silence."""
    resampler = Resampler(source.SAMPLE_RATE)
    rest = b""
    while raw := source.stream.read(max(1, round(CHUNK * source.SAMPLE_RATE / RATE))):
        rest += resampler.feed(raw)
        while len(rest) >= CHUNK * WIDTH:
            yield rest[: CHUNK * WIDTH]
            rest = rest[CHUNK * WIDTH :]
    if rest:
        yield rest.ljust(CHUNK * WIDTH, b"\0")


def read_stdin(stream: BinaryIO) -> WavSource:
    """Return the recording on standard input.

    Raises:
        VoiceProblem: when nothing came.
    """
    content = stream.read(LONGEST_STREAM)
    if not content:
        raise VoiceProblem("nothing_given")
    return WavSource(io.BytesIO(content), "-")


def to_bytes(samples: npt.NDArray[Any]) -> bytes:
    """Return samples between -1 and 1 as 16-bit."""
    return bytes(np.clip(np.rint(samples * 32768), -32768, 32767).astype("<i2").tobytes())


def to_samples(raw: bytes) -> Samples:
    """Return 16-bit sound as samples between -1 and 1."""
    return np.frombuffer(raw, "<i2").astype(np.float32) / 32768
