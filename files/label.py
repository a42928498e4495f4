"""The label of a recording: what somebody with the tape in hand needs to load it, in years too.

As text it is copied to the cassette; as JSON it travels in the recording's own metadata.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..contracts.errors import UsageError, in_one_line

_PART = re.compile(r'/?(?:"(?:[^"\\]|\\.)*"|[^,/"])+,?')
_MOST_COLUMNS = 64


@dataclass(frozen=True, slots=True)
class Label:
    """What is on a tape.

    Attributes:
        name: of the program.
        codec: canonical spec, every default written out.
        format_version: ``contracts.codec.FORMAT_VERSION`` when it was recorded.
        payload_bytes: length of the program.
        crc32: CRC-32 of the program (that of ``zlib``, ISO-HDLC).
        origin: address of the first byte.
        history: what was done to the recording since, one line each.
    """

    name: str
    codec: str
    format_version: int
    payload_bytes: int
    crc32: int
    origin: int = 0
    history: tuple[str, ...] = ()

    @classmethod
    def of(cls, name: str, data: bytes, codec: str, format_version: int, origin: int = 0) -> Label:
        """The label of ``data``.

        >>> f"{Label.of('check value', b'123456789', 'fsk', 1).crc32:08X}"
        'CBF43926'
        """
        return cls(in_one_line(name, 80), codec, format_version, len(data), zlib.crc32(data), origin)

    def fits(self, data: bytes) -> bool:
        """Whether ``data`` is the program that this label tells of."""
        return len(data) == self.payload_bytes and zlib.crc32(data) == self.crc32

    def to_json(self) -> dict[str, Any]:
        """Plain values, as stored in a recording."""
        told: dict[str, Any] = {
            "name": self.name,
            "codec": self.codec,
            "format_version": self.format_version,
            "payload_bytes": self.payload_bytes,
            "crc32": f"{self.crc32:08X}",
            "origin": self.origin,
        }
        return {**told, "history": list(self.history)} if self.history else told

    def to_text(self, tape_s: float, asked_codec: str | None = None, bears_ms: float = 0.0) -> str:
        """For a person, to be copied to the cassette.

        Args:
            tape_s: length of the recording in seconds.
            asked_codec: the short name that was asked for, where there is one.
            bears_ms: the longest dropout that costs nothing, wherever it falls; 0 where none is promised.
        """
        rows = [("Program", self.name)]
        if asked_codec is not None and asked_codec != self.codec:
            rows.append(("Codec", in_one_line(asked_codec)))
        first, *others = _lines(self.codec)
        rows.append(("In full" if len(rows) > 1 else "Codec", first))
        rows += [("", line) for line in others]
        rows.append(("Version", f"{self.format_version}"))
        rows.append(("Length", f"{self.payload_bytes} bytes from address {self.origin:04X}"))
        rows.append(("Load time", f"{tape_s:.1f} s"))
        if int(bears_ms):
            rows.append(("Bears", f"a dropout of {int(bears_ms)} ms, wherever it falls"))
        rows.append(("CRC-32", f"{self.crc32:08X}"))
        return "\n".join(f"{title:<11}{text}" for title, text in rows)


def _lines(spec: str) -> list[str]:
    """A spec on lines that fit a cassette's card; white space between its parts is ignored, so they can be typed back.

    >>> _lines("contents/clocked:tone_hz=3000")
    ['contents', '/clocked:tone_hz=3000']
    """
    lines: list[str] = []
    for part in _PART.findall(spec):
        if not lines or part.startswith("/") or len(lines[-1]) + len(part) > _MOST_COLUMNS:
            lines.append(part if not lines or part.startswith("/") else f"  {part}")
        else:
            lines[-1] += part
    return lines


def cassette_note(tape_s: float) -> str | None:
    """What to know before recording that long; None if one side of the commonest cassette holds it.

    A C60 holds 30 minutes a side, a C90 45 and a C120 60 (common practice).

    >>> cassette_note(35 * 60)
    'plays 35 minutes: longer than one side of a C60; a C90 holds it'
    """
    minutes = tape_s / 60
    if minutes <= 30:
        return None
    for name, side in (("C90", 45), ("C120", 60)):
        if minutes <= side:
            return f"plays {minutes:.0f} minutes: longer than one side of a C60; a {name} holds it"
    return f"plays {minutes:.0f} minutes: longer than one side of any cassette"


def common_label(labels: Sequence[Label | None]) -> Label | None:
    """The label of several plays of one tape; None if none has any.

    Raises:
        UsageError: they tell of different programs or codecs.
    """
    known = [label for label in labels if label is not None]
    for other in known[1:]:
        if (other.codec, other.payload_bytes, other.crc32) != (known[0].codec, known[0].payload_bytes, known[0].crc32):
            raise UsageError(
                f"recordings of '{known[0].name}' and of '{other.name}' are not plays of one tape: their labels differ."
            )
    return known[0] if known else None


def label_from_json(text: str) -> Label | None:
    """The label in a recording's metadata; None if it is none of ours or has been damaged.

    >>> label_from_json("a holiday song") is None
    True
    """
    try:
        told = json.loads(text)
        return Label(
            name=in_one_line(told["name"], 80),
            codec=_spec(told["codec"]),
            format_version=int(told["format_version"]),
            payload_bytes=int(told["payload_bytes"]),
            crc32=int(told["crc32"], 16),
            origin=_address(told.get("origin", 0)),
            history=tuple(in_one_line(line) for line in told.get("history", ())),
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError):
        return None


def _address(value: Any) -> int:
    address = int(value)
    if not 0 <= address < 1 << 32:
        raise ValueError("an address has 32 bits")
    return address


def _spec(value: Any) -> str:
    # '@' would have a stranger's recording choose which of the user's files is read.
    if not isinstance(value, str) or value.lstrip().startswith("@"):
        raise TypeError("a spec is text, and on a label no name of a file")
    return value
