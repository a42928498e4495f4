"""Evidence: what lies behind the rows of an answer, gathered by playing some of their tapes again.

For each candidate the anatomy of its failures, a stretch of waveform with the bits at the first of them, a few seconds
of sound, and over the harshest channel, or those asked for, the sweeps of its knobs. Rows come as plain records
(``Record.as_json``), so that an answer of another day serves as well as one just made. Every count is fixed before
anything is played.
"""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from contextlib import suppress
from threading import Lock
from time import perf_counter
from typing import Any

from ..contracts import registry
from ..contracts.errors import TapewrightError, UsageError, did_you_mean, in_one_line
from ..contracts.signal import Signal
from ..files.clip import clip
from .anatomy import MOST_SOUGHT, MOST_TAPES, anatomy
from .causes import causes
from .excerpt import excerpt
from .forecast import Forecast
from .frontier import on_frontier
from .knob import FACTORS, Knob, counted, curve, knobs
from .replay import Replay, replay_of
from .statistics import at_least, at_most
from .tally import Tally
from .trials import News, Threads, unwatched

MOST_ROWS = 24
"""Candidates that are looked behind: those on the frontier first, then in their order."""

DEFAULT_SWEEP_TAPES = 10
MOST_SWEEP_TAPES = 10_000

ALL = "all"
"""Instead of the name of a channel: every one."""

Kind = tuple[str, str]


def harshest(rows: Sequence[Mapping[str, Any]]) -> str | None:
    """The channel over which the smallest share of tapes loaded right; the first of several; None without any."""
    right: dict[str, int] = {}
    trials: dict[str, int] = {}
    for row in rows:
        right[row["channel"]] = right.get(row["channel"], 0) + row["right"]
        trials[row["channel"]] = trials.get(row["channel"], 0) + row["trials"]
    shares = {channel: right[channel] / trials[channel] for channel in trials if trials[channel]}
    return min(shares, key=lambda channel: shares[channel]) if shares else None


def beside_each_other(rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The rows with the frontier that they have together: those of a choice come from runs of their own."""
    told = [dict(row) for row in rows]
    groups: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
    for row in told:
        if row["residual_byte_error_rate"] is not None:
            key = row["program_sha256"], row["channel_spec"], row["receiver_spec"]
            groups.setdefault(key, []).append(row)
    for ours in groups.values():
        marks = on_frontier([(row["useful_bytes_per_s"], row["residual_byte_error_rate"]["rate"]) for row in ours])
        for row, mark in zip(ours, marks, strict=True):
            row["on_frontier"] = mark
    return told


def looked_behind(rows: Sequence[Mapping[str, Any]], most: int = MOST_ROWS) -> tuple[int, ...]:
    """Places of the rows that are looked behind."""
    played = [place for place, row in enumerate(rows) if row["trials"]]
    return tuple(sorted(sorted(played, key=lambda place: not rows[place]["on_frontier"])[:most]))


def check_sweep_tapes(sweep_tapes: int) -> None:
    """Refuse a number of tapes that no sweep can have.

    Raises:
        UsageError: below 0, or too many.
    """
    if not 0 <= sweep_tapes <= MOST_SWEEP_TAPES:
        raise UsageError(f"Argument 'sweeps' must be 0 to {MOST_SWEEP_TAPES}, not {sweep_tapes}.")


def swept_channels(rows: Sequence[Mapping[str, Any]], over: Sequence[str] = ()) -> tuple[str, ...]:
    """The channels whose knobs are turned.

    Args:
        over: names of channels, or ``all``; none for the harshest.

    Raises:
        UsageError: a name that no row has.
    """
    known = tuple(dict.fromkeys(row["channel"] for row in rows))
    if not over:
        hardest = harshest(rows)
        return () if hardest is None else (hardest,)
    if ALL in over:
        return known
    for name in over:
        if name not in known:
            listed = ", ".join(in_one_line(one, 60) for one in (*known, ALL))
            raise UsageError(
                f"sweeps: no row has the channel '{in_one_line(name, 60)}'.{did_you_mean(name, (*known, ALL))} "
                f"There are: {listed}."
            )
    return tuple(dict.fromkeys(over))


def can_be_swept(rows: Sequence[Mapping[str, Any]], over: Sequence[str] = ()) -> bool:
    """Whether the channels that ``swept_channels`` names have a knob to turn."""
    specs = {row["channel_spec"] for row in rows if row["trials"] and row["channel"] in swept_channels(rows, over)}
    for spec in specs:
        with suppress(TapewrightError):  # what cannot be played again is told with its row
            if knobs(registry.channel(spec or "wire")):
                return True
    return False


def evidence(
    rows: Sequence[Mapping[str, Any]],
    programs: Iterable[bytes],
    sweep_tapes: int = DEFAULT_SWEEP_TAPES,
    workers: int | None = None,
    watch: Callable[[News], None] = unwatched,
    over: Sequence[str] = (),
) -> list[dict[str, Any]]:
    """One entry a row: ``bounds``; and ``anatomy``, ``excerpt``, ``sound`` and ``sweeps`` or ``unseen``, the reason.

    Args:
        rows: as ``Record.as_json`` writes them.
        programs: the payloads that they are about, as far as they are at hand.
        sweep_tapes: tapes at each setting of each knob; 0 leaves the sweeps out.
        over: as ``swept_channels`` takes it.

    Raises:
        UsageError: ``sweep_tapes`` out of range, or as ``swept_channels``.
    """
    check_sweep_tapes(sweep_tapes)
    turned = swept_channels(rows, over) if sweep_tapes else ()
    entries: list[dict[str, Any]] = [{"bounds": _bounds(row)} for row in rows]
    behind = looked_behind(rows)
    known = {hashlib.sha256(program).hexdigest(): program for program in programs}
    jobs: dict[int, Replay] = {}
    for place, row in enumerate(rows):
        if place not in behind:
            told = "no tape was played" if not row["trials"] else f"only {MOST_ROWS} candidates are looked behind"
            entries[place]["unseen"] = told
        elif row["program_sha256"] not in known:
            entries[place]["unseen"] = "the program is not at hand, so that no tape can be played again"
        else:
            try:
                jobs[place] = replay_of(row, known[row["program_sha256"]])
            except TapewrightError as error:
                entries[place]["unseen"] = in_one_line(error, 300)
    swept = [place for place in jobs if rows[place]["channel"] in turned]
    _gather(rows, entries, jobs, swept, sweep_tapes, Threads(workers).workers, watch)
    return entries


def _gather(
    rows: Sequence[Mapping[str, Any]],
    entries: list[dict[str, Any]],
    jobs: Mapping[int, Replay],
    swept: Sequence[int],
    sweep_tapes: int,
    workers: int,
    watch: Callable[[News], None],
) -> None:
    plan: dict[Kind, int] = {}
    cost: dict[Kind, float] = {}
    turned = {place: knobs(jobs[place].channel) for place in swept}

    def planned(place: int, tapes: int) -> None:
        kind = _kind(rows[place])
        plan[kind] = plan.get(kind, 0) + tapes
        cost[kind] = max(rows[place]["tape_s"], 1e-3)

    expected = {place: _expected(rows[place], jobs[place]) for place in jobs}
    for place, tapes in expected.items():
        planned(place, tapes)
    for place, found in turned.items():
        planned(place, sweep_tapes * (1 + len(found) * (len(FACTORS) - 1)))
    clock = _Clock(plan, cost, workers, watch)

    def take_apart(place: int) -> None:
        row, played = rows[place], clock.ticks(_kind(rows[place]), expected[place])
        found = anatomy(jobs[place], row["trials"], row["trials"] - row["right"], MOST_TAPES, played)
        shown = excerpt(jobs[place], found.tapes[0].trial if found.tapes else 0)
        entries[place]["anatomy"] = found.as_json()
        entries[place]["excerpt"] = {"trial": shown.trial, "failed": shown.failed, **shown.drawing}
        entries[place]["sound"] = {"fresh": _coded(shown.fresh_clip), "worn": _coded(shown.worn_clip)}
        played.rest()

    def stand(place: int) -> tuple[int, Tally]:
        played = clock.ticks(_kind(rows[place]), sweep_tapes)
        return place, counted(jobs[place], jobs[place].channel, range(sweep_tapes), played)

    def turn(place: int, knob: Knob, unturned: Tally) -> tuple[int, dict[str, Any]]:
        played = clock.ticks(_kind(rows[place]), sweep_tapes * (len(FACTORS) - 1))
        return place, curve(jobs[place], knob, sweep_tapes, unturned, played)

    pool = ThreadPoolExecutor(workers, thread_name_prefix="replay")
    try:
        first: list[Future[Any]] = [pool.submit(take_apart, place) for place in jobs]
        standing = [pool.submit(stand, place) for place in swept]
        turning: dict[tuple[int, str], Future[tuple[int, dict[str, Any]]]] = {}
        for ended in as_completed(standing):
            place, unturned = ended.result()
            for knob in turned[place]:
                turning[place, knob.name] = pool.submit(turn, place, knob, unturned)
        for done in first:
            done.result()
        for place in swept:
            entries[place]["sweeps"] = [turning[place, knob.name].result()[1] for knob in turned[place]]
            entries[place]["sweep_tapes"] = sweep_tapes
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


class _Clock:
    """Counts the tapes played, for the watcher. Safe to use from several threads."""

    def __init__(
        self, plan: Mapping[Kind, int], cost: Mapping[Kind, float], workers: int, watch: Callable[[News], None]
    ) -> None:
        self._forecast = Forecast(plan, cost, workers)
        self._of, self._done = sum(plan.values()), 0
        self._watch = watch
        self._lock = Lock()
        watch(News(0, self._of, (), None))

    def ticks(self, kind: Kind, planned: int) -> _Ticks:
        """What one job calls after each of its tapes."""
        return _Ticks(self, kind, planned)

    def saw(self, kind: Kind, seconds: float, planned: bool) -> None:
        with self._lock:
            if not planned:  # the search for failing tapes took longer than their share let expect
                self._forecast.spared(kind, -1)
                self._of += 1
            self._forecast.saw(kind, seconds)
            self._done += 1
            self._watch(News(self._done, self._of, (), self._forecast.remaining_s()))

    def spared(self, kind: Kind, units: int) -> None:
        with self._lock:
            self._forecast.spared(kind, units)
            self._of -= units


class _Ticks:
    def __init__(self, clock: _Clock, kind: Kind, planned: int) -> None:
        self._clock, self._kind, self._left, self._since = clock, kind, planned, perf_counter()

    def __call__(self) -> None:
        now = perf_counter()
        self._clock.saw(self._kind, now - self._since, self._left > 0)
        self._left, self._since = self._left - 1, now

    def rest(self) -> None:
        """Whatever was planned and is not needed."""
        self._clock.spared(self._kind, max(self._left, 0))


def _kind(row: Mapping[str, Any]) -> Kind:
    return row["codec_spec"], row["channel_spec"] + row["receiver_spec"]


def _expected(row: Mapping[str, Any], replay: Replay) -> int:
    """Tapes that the search for failing ones and their dissection are likely to take."""
    failures: int = row["trials"] - row["right"]
    wanted = min(failures, MOST_TAPES)
    if not wanted:
        return 0
    sought: int = min(row["trials"] * wanted // failures, MOST_SOUGHT)
    return sought + wanted * (len(causes(replay.channel)) + 1)


def _bounds(row: Mapping[str, Any]) -> dict[str, float] | None:
    """What the loads of a row show with 95 % confidence, one-sided."""
    if not row["trials"]:
        return None
    return {
        "success_at_least": at_least(row["right"], row["trials"]),
        "silent_at_most": at_most(row["silent"], row["trials"]),
    }


def _coded(sound: Signal) -> str:
    return b64encode(clip(sound)).decode("ascii")
