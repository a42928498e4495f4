"""The payload of a choice: a program file, the demo program, or invented bytes of a given number."""

from __future__ import annotations

from ..contracts.codec import MOST_PAYLOAD_BYTES
from ..contracts.errors import UsageError
from ..contracts.streams import stream
from ..files.chime import NAME
from ..files.programs import Program, read_program


def payload(program: str | None, payload_bytes: int | None) -> Program:
    """The program called ``program``, or ``payload_bytes`` invented ones; the demo program where neither is given.

    Raises:
        UsageError: both are given, a number out of range, or as ``read_program``.
    """
    if payload_bytes is None:
        return read_program(NAME if program is None else program)
    if program is not None:
        raise UsageError("choose: a program and a number of bytes are given; leave one of --program and --bytes out.")
    if not 1 <= payload_bytes <= MOST_PAYLOAD_BYTES:
        raise UsageError(f"Argument 'bytes' must be 1 to {MOST_PAYLOAD_BYTES}, not {payload_bytes}.")
    return Program(f"{payload_bytes} invented bytes", stream(0, 0, "invented program").bytes(payload_bytes))
