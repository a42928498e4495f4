"""A study as a TOML file: what shall meet what, how often, with which seed.

::

    [study]
    program = "chime"                # the demo program, a program file, or a list of them
    bytes = 16384                    # and/or programs of so many invented bytes, drawn from the seed
    codecs = ["sturdy", "@mine.toml"]
    receivers = ["sound"]
    channels = ["worn", "attic"]
    trials = 300
    seed = 1

    [[sweep]]                        # as many as wanted; see ``sweep``
    codec = "plain-biphase"
    over = { "biphase.bit_rate_hz" = [1200, 2400, 4800] }

What is left out is as in a comparison; with sweeps of codecs and no ``codecs``, only the sweeps. Files are looked for
beside the study: programs, ``@`` files, and paths that end in ``.toml`` in a spec.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..contracts import registry
from ..contracts.channel_model import Channel
from ..contracts.codec import MOST_PAYLOAD_BYTES, Codec
from ..contracts.errors import UsageError, did_you_mean, in_one_line
from ..contracts.named_file import toml_in
from ..contracts.receiver import Receiver
from ..contracts.spec import Item, format_items, parse_stack
from ..contracts.streams import stream
from ..files.programs import read_program
from . import study as defaults
from .study import MOST_SEED, Study
from .sweep import swept

MOST_BYTES = 1 << 20
"""Of the file."""

MOST_ROWS = 100_000

MAKERS: dict[str, Callable[[str], Codec | Receiver | Channel]] = {
    "codec": registry.codec,
    "receiver": registry.receiver,
    "channel": registry.channel,
}
"""What builds each kind from its spec."""

_DEFAULTS = {
    "codec": defaults.DEFAULT_CODECS,
    "receiver": defaults.DEFAULT_RECEIVERS,
    "channel": defaults.DEFAULT_CHANNELS,
}
_KEYS = ("program", "bytes", "codecs", "receivers", "channels", "trials", "seed")
_SWEEP_KEYS = (*MAKERS, "over")


@dataclass(frozen=True)
class StudyFile:
    """What a file asks for.

    Attributes:
        studies: one for each program, their specs canonical.
        names: what the user calls a spec, by kind and canonical spec.
        notes: what a person should know, one line each.
    """

    studies: tuple[Study, ...]
    names: dict[tuple[str, str], str]
    notes: tuple[str, ...] = ()


def read_study_file(path: Path) -> StudyFile:
    """The study in a TOML file.

    Raises:
        UsageError: no such file, no TOML, an unknown key (the right ones are listed), or whatever ``Study`` refuses.
    """
    shown = f"study '{in_one_line(path, 120)}'"
    told = toml_in(path, "study", MOST_BYTES)
    if not told:
        raise UsageError(f"{shown} is empty; it must hold a table, such as the lines '[study]' and 'trials = 40'.")
    try:
        return _study_file(told, path.resolve().parent)
    except UsageError as error:
        raise UsageError(f"{shown}: {error}") from None


def _study_file(told: dict[str, Any], folder: Path) -> StudyFile:
    _known(told, ("study", "sweep"), "the file")
    asked, sweeps = told.get("study", {}), told.get("sweep", [])
    if not isinstance(asked, dict):
        raise UsageError("'study' must be a table [study].")
    if not isinstance(sweeps, list) or not all(isinstance(one, dict) for one in sweeps):
        raise UsageError("'sweep' must be tables [[sweep]].")
    _known(asked, _KEYS, "[study]")
    names: dict[tuple[str, str], str] = {}
    for kind in MAKERS:
        _name_specs(kind, _specs(kind, asked, sweeps), folder, names)
    room = MOST_ROWS
    for sweep in sweeps:
        room -= _name_points(sweep, folder, names, room)
    specs = {kind: tuple(spec for of, spec in names if of == kind) for kind in MAKERS}
    seed = _whole(asked, "seed", defaults.DEFAULT_SEED, 0, MOST_SEED)
    programs, notes = _programs(asked, folder, seed)
    rows = len(programs) * len(specs["codec"]) * len(specs["receiver"]) * len(specs["channel"])
    if rows > MOST_ROWS:
        raise UsageError(f"a study may have {MOST_ROWS} rows, not {rows}.")
    trials = _whole(asked, "trials", defaults.DEFAULT_TRIALS, 1, defaults.MOST_TRIALS)
    studies = tuple(
        Study(program, name, specs["codec"], specs["receiver"], specs["channel"], trials, seed)
        for name, program in programs.items()
    )
    return StudyFile(studies, names, notes)


def _specs(kind: str, asked: dict[str, Any], sweeps: list[dict[str, Any]]) -> tuple[str, ...]:
    key = f"{kind}s"
    if key not in asked:
        return () if any(kind in sweep for sweep in sweeps) else _DEFAULTS[kind]
    specs = asked[key]
    if not isinstance(specs, list) or not specs or not all(isinstance(spec, str) for spec in specs):
        raise UsageError(f"'{key}' must be a list of specs, such as {list(_DEFAULTS[kind])}.")
    return tuple(specs)


def _name_specs(kind: str, specs: tuple[str, ...], folder: Path, names: dict[tuple[str, str], str]) -> None:
    for spec in specs:
        canonical = MAKERS[kind](_beside(spec, folder)).spec
        earlier = names.setdefault((kind, canonical), spec)
        if earlier is not spec:
            pair = f"'{in_one_line(earlier, 60)}' and '{in_one_line(spec, 60)}'"
            raise UsageError(f"{kind}: {pair} are the same; name each {kind} once.")


def _name_points(sweep: dict[str, Any], folder: Path, names: dict[tuple[str, str], str], room: int) -> int:
    """Names what a sweep meets, at most ``room`` points; how many there are."""
    _known(sweep, _SWEEP_KEYS, "[[sweep]]")
    kinds = [kind for kind in MAKERS if kind in sweep]
    over = sweep.get("over")
    if len(kinds) != 1 or not isinstance(sweep[kinds[0]], str):
        raise UsageError('a [[sweep]] needs one spec: codec = "...", receiver = "..." or channel = "...".')
    if not isinstance(over, dict) or not over:
        raise UsageError('a [[sweep]] needs over = { "plug_in.parameter" = [values] }.')
    (kind,) = kinds
    text = _beside(sweep[kind], folder)
    # A file stands for what it holds, whose members can be named like those of a preset.
    items = parse_stack(MAKERS[kind](text).spec if text.startswith("@") else text)
    points = swept(kind, items, over, room)
    for point in points:
        # Sweeps from one spec cross in it: one row is enough.
        names.setdefault((kind, MAKERS[kind](point).spec), point)
    return len(points)


def _beside(spec: str, folder: Path) -> str:
    """``spec`` with the files that it names looked for in ``folder``."""
    text = spec.strip()
    if text.startswith("@"):
        return f"@{folder / text[1:]}"
    items = parse_stack(text)
    found = tuple(
        Item(item.name, tuple((key, _found(value, folder)) for key, value in item.arguments), item.position)
        for item in items
    )
    return text if found == items else format_items(found)


def _found(value: Any, folder: Path) -> Any:
    is_file = isinstance(value, str) and value.endswith(".toml") and (folder / value).is_file()
    return str(folder / value) if is_file else value


def _programs(asked: dict[str, Any], folder: Path, seed: int) -> tuple[dict[str, bytes], tuple[str, ...]]:
    files, sizes = asked.get("program", [] if "bytes" in asked else ["chime"]), asked.get("bytes", [])
    files, sizes = (one if isinstance(one, list) else [one] for one in (files, sizes))
    if not all(isinstance(name, str) for name in files):
        raise UsageError("'program' must be a file's name or a list of them.")
    if not all(type(size) is int and 1 <= size <= MOST_PAYLOAD_BYTES for size in sizes):
        raise UsageError(f"'bytes' must be 1 to {MOST_PAYLOAD_BYTES}, or a list of such numbers.")
    found: list[tuple[str, str, bytes]] = []
    notes: list[str] = []
    for name in files:
        taken = read_program(name if name == "chime" else folder / name)
        notes += [f"{in_one_line(taken.name)}: {note}" for note in taken.notes]
        found.append((name, taken.name, taken.data))
    for size in sizes:
        name = f"{size} invented bytes"
        found.append((name, name, stream(seed, 0, f"program of {size} bytes").bytes(size)))
    if not found:
        raise UsageError("at least one program is needed.")
    return _told_apart(found), tuple(notes)


def _told_apart(found: list[tuple[str, str, bytes]]) -> dict[str, bytes]:
    """Programs by what to call them: a file without its folder, unless another program is called the same.

    Args:
        found: of each the name as written, the name without a folder, and the bytes.
    """
    alike = Counter(short for _, short, _ in found)
    known: dict[bytes, str] = {}
    programs: dict[str, bytes] = {}
    for written, short, content in found:
        earlier = known.get(content)
        if earlier is not None:
            pair = f"'{in_one_line(earlier, 60)}' and '{in_one_line(written, 60)}'"
            raise UsageError(f"program: {pair} hold the same bytes; name each program once.")
        called = written if alike[short] > 1 else short
        if called in programs:
            raise UsageError(f"program: two programs are called '{in_one_line(called, 60)}'; rename the file.")
        known[content] = written
        programs[called] = content
    return programs


def _whole(asked: dict[str, Any], key: str, default: int, low: int, high: int) -> int:
    value = asked.get(key, default)
    if type(value) is not int or not low <= value <= high:
        raise UsageError(f"'{key}' must be a whole number, {low} to {high}, not {in_one_line(repr(value), 40)}.")
    return value


def _known(told: dict[str, Any], keys: tuple[str, ...], where: str) -> None:
    for key in told:
        if key not in keys:
            hint = did_you_mean(key, keys)
            raise UsageError(f"{where} has no '{in_one_line(key, 60)}'.{hint} There are: {', '.join(keys)}.")
