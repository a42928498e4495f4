"""What makes two tapes the same tape: the identity under which results are kept.

Counts may be added only where nothing that could have changed one of them differs. A task's identity is therefore a
hash of

- the canonical specs of codec, receiver and channel, every default written out; where an argument names a file, what
  the file holds counts and its name does not;
- the program, the seed and the sample rate;
- the format version;
- the version of numpy, scipy and numba, and of every package that a plug-in of the task comes from: a random
  generator's method, a filter's design or a compiler's last bit may change with any of them;
- of our own package the source code from which the counts come instead of its version: a checkout changes without its
  version, and a release that only adds a picture changes no count.

Python's own version, the operating system, the processor and the number of workers are left out: the first three
change a result within the tolerances that the plug-ins state, the last not at all. The number of trials is left out,
because more of them start like fewer.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from ..contracts.codec import FORMAT_VERSION
from ..contracts.plug_in import PlugIn
from .carried_files import digest, files_named
from .records import versions
from .study import Study, Task

_MAKES_COUNTS = ("contracts", "kernels", "codecs", "channel_models", "receivers")
_MAKES_COUNTS_HERE = ("shelf.py", "tally.py", "trials.py")
NO_CONCERN = ("python", "tapewright")


def identity(study: Study, task: Task) -> str:
    """The identity of one task of a study: a document in one line, of which a hash is taken."""
    packages = {package: known for package, known in versions(task).items() if package not in NO_CONCERN}
    return canonical_json(
        {
            "codec": _named(task.codec.plug_ins),
            "receiver": _named([task.receiver]),
            "channel": _named(task.channel.stages),
            "program_sha256": digest(study.program),
            "seed": study.seed,
            "sample_rate_hz": study.sample_rate_hz,
            "format_version": FORMAT_VERSION,
            "packages": packages,
            "code": code(),
        }
    )


def canonical_json(told: Any) -> str:
    """``told`` in the one form that a hash can be taken of."""
    return json.dumps(told, sort_keys=True, separators=(",", ":"), allow_nan=False, ensure_ascii=True)


@cache
def code() -> str:
    """A hash of the source code that makes counts: what wears, encodes, decodes and scores."""
    root = resources.files(__package__.rpartition(".")[0])
    found = hashlib.sha256()
    for folder in _MAKES_COUNTS:
        for name, content in _sources(root / folder, folder):
            found.update(f"{name}\0{digest(content)}\n".encode())
    for name in _MAKES_COUNTS_HERE:
        found.update(f"benchmarks/{name}\0{digest((root / 'benchmarks' / name).read_bytes())}\n".encode())
    return found.hexdigest()


def _named(plug_ins: Iterable[PlugIn]) -> list[dict[str, Any]]:
    told = []
    for plug_in in plug_ins:
        files = files_named([plug_in])
        held = {
            key: f"sha256:{digest(files[value].read_bytes())}" if isinstance(value, str) and value in files else value
            for key, value in plug_in.arguments().items()
        }
        told.append({"name": plug_in.name, "parameters": held})
    return told


def _sources(folder: Traversable, path: str) -> Iterable[tuple[str, bytes]]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir() and entry.name != "__pycache__":
            yield from _sources(entry, f"{path}/{entry.name}")
        elif entry.name.endswith(".py"):
            yield f"{path}/{entry.name}", entry.read_bytes().replace(b"\r\n", b"\n")
