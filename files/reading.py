"""Open what the user names, and say in one line why it cannot be read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from ..contracts.errors import UsageError, in_one_line


@contextmanager
def opened(path: Path, kind: str) -> Iterator[BinaryIO]:
    """The file at ``path``, open for reading bytes.

    Args:
        kind: what it should be, for the message: "program", "recording".

    Raises:
        UsageError: missing, a folder, not readable.
    """
    try:
        file = path.open("rb")
    except FileNotFoundError:
        raise UsageError(f"{kind} '{in_one_line(path)}': there is no such file.") from None
    except IsADirectoryError:
        raise UsageError(f"{kind} '{in_one_line(path)}' is a folder; a file is needed.") from None
    except OSError as error:
        raise UsageError(f"{kind} '{in_one_line(path)}' cannot be read: {error.strerror or error}.") from None
    except ValueError as error:  # a null byte in the name
        raise UsageError(f"{kind} '{in_one_line(path)}' cannot be read: {in_one_line(error)}.") from None
    with file:
        yield file
