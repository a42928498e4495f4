"""A folder of files appears whole or not at all, and what was in it is not overwritten unless asked.

A new folder is filled under another name beside the place where it will stand, and takes its own name when all files
are complete. In a folder that exists each file is replaced whole, the old ones kept until every new one is there.
"""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from ..contracts.errors import UsageError, in_one_line
from .writing import check_output, not_written


def check_folder(folder: Path, names: Sequence[str], force: bool) -> None:
    """Refuse a folder that could not be written, before any long work.

    Raises:
        UsageError: a file of ``names`` is there already and ``force`` is False, ``folder`` is no folder, or the one
            that it would stand in is missing.
        TapewrightError: it cannot be written to.
    """
    shown = in_one_line(folder)
    try:
        there = folder.is_dir()
        if not there and folder.exists():
            raise UsageError(f"output '{shown}' is a file; the name of a folder is needed.")
    except (OSError, ValueError) as error:
        raise not_written(folder, error) from None
    if there:
        for name in names:
            check_output(folder / name, force)
    else:
        check_output(folder, force)


@contextmanager
def whole_folder(folder: Path, names: Sequence[str], force: bool) -> Iterator[Path]:
    """Yield a folder to write ``names`` into; after a block without error they stand in ``folder``.

    Raises:
        UsageError, TapewrightError: as ``check_folder``, and when the disk does not take it.
    """
    check_folder(folder, names, force)
    target = folder.resolve()
    part = target.parent / f".tapewright-{secrets.token_hex(8)}.part"
    try:
        try:
            part.mkdir()
            yield part
            if target.is_dir():
                check_folder(folder, names, force)
                for name in names:
                    (part / name).replace(target / name)
            else:
                part.rename(target)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        raise not_written(folder, error) from None
