"""What an answer proves and what it does not, in plain sentences made from its figures."""

from __future__ import annotations

from collections.abc import Sequence

from ..contracts.errors import in_one_line
from .records import Record
from .statistics import FEWEST_FAILING_TAPES, at_least, at_most, tapes_needed

WANTED_SUCCESS = 0.99
_LONGEST_NAME = 60


def findings(rows: Sequence[Record]) -> tuple[str, ...]:
    """A few sentences about ``rows``: the loads, the silent losses, the bounds, the frontier."""
    played = [row for row in rows if row.tally.trials]
    if not played:
        return ("No tape was played: no receiver can decode any of the codecs.",)
    told = [_loads(played), _silence(played)]
    if any(row.tally.tapes_with_byte_errors < FEWEST_FAILING_TAPES for row in played):
        told.append(
            f"With fewer than {FEWEST_FAILING_TAPES} failing tapes the interval of a residual byte error is what those "
            "tapes alone can prove, so it is wide; more trials narrow it."
        )
    told.append(
        "A row with * is on the frontier of its channel: no other row there is at least as good in both useful bytes/s "
        "and residual byte error and better in one, as far as these trials can tell."
    )
    return (*told, *_capacity(played))


def _capacity(played: Sequence[Record]) -> list[str]:
    known: dict[str, list[float]] = {}
    unknown: dict[str, None] = {}
    for row in played:
        name = in_one_line(row.task.channel_name, _LONGEST_NAME)
        if row.capacity.both_tracks_bits_per_s is not None:
            known.setdefault(name, []).append(row.capacity.both_tracks_bits_per_s)
        else:
            unknown[f"No capacity is known for the channel {name}: {row.capacity.without}."] = None
    told = list(unknown)
    if known:
        listed = ", ".join(f"{name} {_span(bounds)}" for name, bounds in known.items())
        told.append(
            "Capacity, an upper bound for both tracks together at the power of each recording, without dropouts, drift "
            f"or saturation: {listed} bit/s."
        )
    return told + list(dict.fromkeys(_at_its_fastest(row) for row in played if _limited_by_receiver(row)))


def _span(bounds: Sequence[float]) -> str:
    low, high = f"{min(bounds):,.0f}", f"{max(bounds):,.0f}"
    return low if low == high else f"{low} to {high}"


def _limited_by_receiver(row: Record) -> bool:
    return row.receiver_limit_bits_per_s is not None and row.receiver_limit_bits_per_s == row.limit_bits_per_s


def _at_its_fastest(row: Record) -> str:
    codec, receiver = (in_one_line(name, _LONGEST_NAME) for name in (row.task.codec_name, row.task.receiver_name))
    return (
        f"However fast it is played, {receiver} can take in at most {row.receiver_limit_bits_per_s:.3g} bit/s of "
        f"{codec}: its share of capacity is of that."
    )


def _loads(played: Sequence[Record]) -> str:
    best = max(played, key=lambda row: row.tally.right)
    right, trials = best.tally.right, best.tally.trials
    shown, wanted = at_least(right, trials), f"{WANTED_SUCCESS:.0%}".replace("%", " %")
    enough = (
        f"showing {wanted} takes {tapes_needed(WANTED_SUCCESS)} tapes without a failure or "
        f"{tapes_needed(WANTED_SUCCESS, 1)} with one"
    )
    if right == 0:
        return f"No tape of any row loaded right; {enough}."
    row = "" if right == trials else f" (the best row, {best.task.codec_name} over {best.task.channel_name})"
    verdict = (
        f"shows a load success of at least {_floor_percent(shown)}, not 100 %"
        if right == trials
        else (f"shows a load success of at least {_floor_percent(shown)}")
    )
    if shown >= WANTED_SUCCESS:
        return f"{right} of {trials} right{row} {verdict} (one-sided, 95 % confidence)."
    return f"{right} of {trials} right{row} {verdict} (one-sided, 95 % confidence); {enough}."


def _silence(played: Sequence[Record]) -> str:
    silent: dict[str, int] = {}
    trials: dict[str, int] = {}
    for row in played:
        silent[row.task.codec_name] = silent.get(row.task.codec_name, 0) + row.tally.silent
        trials[row.task.codec_name] = trials.get(row.task.codec_name, 0) + row.tally.trials
    listed = ", ".join(f"{name} {count} of {trials[name]}" for name, count in silent.items() if count)
    if listed:
        return f"Silent losses, where a wrong program looks right: {listed}."
    fewest = min(row.tally.trials for row in played)
    return (
        f"No loss was silent, which does not prove that none can be: 0 of {fewest} leaves up to "
        f"{_ceiling_percent(at_most(0, fewest))} (one-sided, 95 % confidence)."
    )


def _floor_percent(share: float) -> str:
    return f"{int(share * 1000) / 10:.1f} %"


def _ceiling_percent(share: float) -> str:
    return f"{-int(-share * 1000 // 1) / 10:.1f} %"
