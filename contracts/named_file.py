"""Files that the user names: opened, read whole, and in one line why that cannot be and what to do about it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from .errors import UsageError, did_you_mean, in_one_line

_MOST_NEIGHBOURS = 2000
"""Files of a folder among which a like name is sought."""

_WHOLE = 1 << 63
"""One more than the greatest whole number that TOML 1.0 promises to keep."""

_DEEPEST = 100
"""Names in names: more than any file needs, and what follows may call itself for each."""


@contextmanager
def opened(path: Path, kind: str, advice: str = "check the name", like: str = "") -> Iterator[BinaryIO]:
    """The file at ``path``, open for reading bytes.

    Args:
        kind: what it should be, for the message: "program", "recording".
        advice: what to do if there is no such file and none of a like name.
        like: how the names end that may be offered instead.

    Raises:
        UsageError: missing, a folder, not readable.
    """
    shown = f"{kind} '{in_one_line(path)}'"
    try:
        file = path.open("rb")
    except FileNotFoundError:
        raise UsageError(f"{shown}: there is no such file{_like(path, like) or f'; {advice}.'}") from None
    except IsADirectoryError:
        raise UsageError(f"{shown} is a folder; a file is needed.") from None
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        reason = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise UsageError(f"{shown} cannot be read: {in_one_line(reason)}; name a file that can be.") from None
    with file:
        yield file


def content_of(path: Path, kind: str, most_bytes: int) -> bytes:
    """All that the file at ``path`` holds.

    Raises:
        UsageError: as ``opened``, or more than ``most_bytes``.
    """
    with opened(path, kind) as file:
        try:
            content = file.read(most_bytes + 1)
        except OSError as error:
            shown = f"{kind} '{in_one_line(path)}'"
            raise UsageError(f"{shown} cannot be read: {error.strerror or error}; name a file that can be.") from None
    if len(content) > most_bytes:
        raise UsageError(f"{kind} '{in_one_line(path)}' must be at most {most_bytes} bytes.")
    return content


def toml_of(content: bytes, shown: str) -> dict[str, Any]:
    """What TOML says.

    Args:
        shown: what holds it, for the message.

    Raises:
        UsageError: no TOML, a whole number of over 64 bits, which TOML does not promise and nothing here needs, or
            names nested deeper than anything here needs.
    """
    try:
        told = tomllib.loads(content.decode("utf-8"))
    except UnicodeDecodeError:
        raise UsageError(f"{shown} is not TOML: it is not text.") from None
    except RecursionError:
        raise UsageError(f"{shown} is not TOML: its brackets are nested too deep.") from None
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{shown} is not TOML: {in_one_line(error)}.") from None
    except ValueError:  # Python's limit to the digits of a number; the parser does not say where
        raise UsageError(f"{shown}: a whole number in it has too many digits; it must fit 64 bits.") from None
    _check_values(told, shown)
    return told


def _check_values(told: dict[str, Any], shown: str) -> None:
    """Without recursion: dotted names may nest deeper than Python calls."""
    waiting: list[tuple[tuple[str, ...], Any]] = [((), told)]
    while waiting:
        path, value = waiting.pop()
        if len(path) > _DEEPEST:
            raise UsageError(f"{shown}: its names may be at most {_DEEPEST} deep, as in 'a.b.c', which are three.")
        if isinstance(value, dict):
            waiting += [((*path, key), inner) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [(path, inner) for inner in value]
        elif isinstance(value, int) and not -_WHOLE <= value < _WHOLE:
            dotted = in_one_line(".".join(path), 60)
            raise UsageError(f"{shown}: '{dotted}' must fit 64 bits, as whole numbers in TOML do.")


def toml_in(path: Path, kind: str, most_bytes: int) -> dict[str, Any]:
    """What the TOML file at ``path`` says.

    Raises:
        UsageError: as ``content_of`` and ``toml_of``.
    """
    return toml_of(content_of(path, kind, most_bytes), f"{kind} '{in_one_line(path, 120)}'")


def _like(path: Path, ending: str) -> str:
    """What to say of the folder of a file that is missing; nothing where it holds no file of a like name."""
    folder = path.parent
    try:
        if not folder.is_dir():
            return f": there is no folder '{in_one_line(folder, 120)}'."
        names = [name.name for name, _ in zip(folder.iterdir(), range(_MOST_NEIGHBOURS), strict=False)]
    except OSError:
        return ""
    known = sorted(name for name in names if not name.startswith(".") and name.endswith(ending))
    same = [name for name in known if Path(name).stem == path.stem]
    hint = did_you_mean(path.name, same or known, cutoff=0.0 if same else 0.8)
    return f".{hint}" if hint else ""
