"""From clock bursts to steps and groups: a cadence that carries on through what was not heard.

Times are in hops of the decoder. ``pace`` tells how many of them a nominal second takes at each.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ...contracts.decoded import Event
from .clock_groups import Step, groups_by_count, groups_by_mark

WINDOW = 0.2
"""How far from its predicted place a clock may lie, in steps, if the one before was heard."""
WINDOW_WIDENS = 0.02
"""By how much that grows with each clock not heard."""
WIDEST_WINDOW = 0.3
FOLLOW_LEAST, FOLLOW_MOST, FOLLOW_NOISE = 0.1, 0.5, 40.0
"""Share of that distance by which the cadence is corrected: half way to the most at that contrast re the noise."""
TRIAL_STEPS = 6
TRIAL_HITS = 4
"""A train starts where this many of the next steps are heard in cadence."""
LOST_BEFORE_LOOKING_ELSEWHERE = 3
LONGEST_SILENCE_GROUPS = 4
"""Where nothing was heard for so long the train is over."""


class Cadence(Protocol):
    """What a flywheel must know of a code of bursts: its parameters, and what follows from them."""

    @property
    def step_s(self) -> float:
        """From one step to the next."""

    @property
    def burst_s(self) -> float:
        """Length of a burst."""

    @property
    def mark_s(self) -> float:
        """What the reset mark adds to the first step of a group."""

    @property
    def group_s(self) -> float:
        """From one group to the next."""

    @property
    def data_steps(self) -> int:
        """Steps of a group that carry data, the first ones."""

    @property
    def extra_steps(self) -> int:
        """Steps of a group after them."""

    @property
    def reset_mark(self) -> bool:
        """Whether the first burst of a group is twice as long."""

    @property
    def end_mark(self) -> bool:
        """Whether a burst four times as long stands after the last group."""


@dataclass(frozen=True)
class ClockBursts:
    """Where tone sets in, once a step.

    Attributes:
        times: onsets in hops, rising, shape (bursts,).
        power: by how much they stand out from the silence before, shape (bursts,).
        strength: that re the noise, shape (bursts,).
        mark: lasts on past one burst's length.
        end: lasts on past two.
    """

    times: NDArray[np.float64]
    power: NDArray[np.float64]
    strength: NDArray[np.float64]
    mark: NDArray[np.bool_]
    end: NDArray[np.bool_]

    def only(self, chosen: NDArray[np.bool_]) -> ClockBursts:
        """Some of them, shape of ``chosen`` (bursts,)."""
        return ClockBursts(
            self.times[chosen], self.power[chosen], self.strength[chosen], self.mark[chosen], self.end[chosen]
        )

    @classmethod
    def none(cls) -> ClockBursts:
        """No burst at all."""
        return cls(np.empty(0), np.empty(0), np.empty(0), np.empty(0, np.bool_), np.empty(0, np.bool_))


@dataclass(frozen=True)
class Train:
    """The data steps of every group.

    Attributes:
        onsets: clock onset in hops, NaN where it is not known; shape (groups, data steps).
        heard: whether that clock was heard itself.
        lost: where clocks were put in from the cadence.
        broken: where the cadence was lost and a reset mark had to find it again.
        start, end: of the train; None without one.
        ended: by an end mark.
    """

    onsets: NDArray[np.float64]
    heard: NDArray[np.bool_]
    lost: tuple[float, ...] = ()
    broken: tuple[float, ...] = ()
    start: float | None = None
    end: float | None = None
    ended: bool = False


def follow(code: Cadence, bursts: ClockBursts, pace: NDArray[np.float64]) -> Train:
    """The train of steps in ``bursts``."""
    return _Flywheel(code, bursts, pace).train()


def events_of(train: Train, pace: NDArray[np.float64], hop_s: float) -> tuple[Event, ...]:
    """What was noticed on the way, in the order of the tape."""
    noticed = []
    if train.start is not None:
        at = min(max(0, round(train.start)), pace.size - 1)
        percent = 100.0 * (1.0 / (pace[at] * hop_s) - 1.0)
        noticed.append(Event(f"clock starts, tape speed {percent:+.2f} %", train.start * hop_s))
    noticed += [Event("clock lost, put in from the cadence", at * hop_s) for at in train.lost]
    noticed += [Event("cadence broken, byte given up", at * hop_s) for at in train.broken]
    if train.end is not None:
        noticed.append(Event("end mark" if train.ended else "clock stops without an end mark", train.end * hop_s))
    return tuple(sorted(noticed, key=lambda event: event.time_s or 0.0))


@dataclass
class _Flywheel:
    code: Cadence
    bursts: ClockBursts
    pace: NDArray[np.float64]
    times: list[float] = field(init=False)
    strengths: list[float] = field(init=False)
    marks: list[bool] = field(init=False)
    _steps_a_group: int = field(init=False)
    _step_s: float = field(init=False)
    _mark_s: float = field(init=False)

    def __post_init__(self) -> None:
        # Numbers of Python: they are looked at one by one.
        self.times = self.bursts.times.tolist()
        self.strengths = self.bursts.strength.tolist()
        self.marks = self.bursts.mark.tolist() if self.code.reset_mark else [False] * len(self.times)
        self._steps_a_group = self.code.data_steps + self.code.extra_steps
        self._step_s, self._mark_s = self.code.step_s, self.code.mark_s

    def _hops(self, seconds: float, time: float) -> float:
        place = int(time)
        if not 0 <= place < self.pace.size:
            place = 0 if place < 0 else self.pace.size - 1
        return seconds * self.pace.item(place)

    def _groups_between(self, first: float, beyond: float) -> int:
        return max(0, round((beyond - first) / self._hops(self.code.group_s, first)))

    def _next(self, time: float, marked: bool) -> float:
        return time + self._hops(self._step_s + self._mark_s if marked else self._step_s, time)

    def _burst_near(self, time: float, lost: int = 0) -> int | None:
        """The strongest burst within the window about ``time``, with ``lost`` clocks not heard before it."""
        share = min(WIDEST_WINDOW, WINDOW + WINDOW_WIDENS * lost) if lost else WINDOW
        reach = self._hops(share * self._step_s, time)
        first = bisect_left(self.times, time - reach)
        beyond = bisect_left(self.times, time + reach, first)
        if beyond - first < 2:
            return first if first < beyond else None
        return max(range(first, beyond), key=self.strengths.__getitem__)

    def _starts_train(self, burst: int) -> bool:
        return self._hits(self.times[burst], self.marks[burst], TRIAL_STEPS) >= TRIAL_HITS

    def _hits(self, time: float, marked: bool, steps: int) -> int:
        """How many of the next ``steps`` clocks after the one at ``time`` are heard in cadence."""
        hits = 0
        for _ in range(steps):
            time = self._next(time, marked)
            found = self._burst_near(time)
            marked = False
            if found is not None:
                time, marked = self.times[found], self.marks[found]
                hits += 1
        return hits

    def _train_from(self, burst: int) -> int | None:
        return next((later for later in range(burst, len(self.times)) if self._starts_train(later)), None)

    def train(self) -> Train:
        data_steps = self.code.data_steps
        first = self._train_from(0)
        if first is None:
            return Train(np.empty((0, data_steps)), np.empty((0, data_steps), np.bool_))
        steps, ended = self._steps(first)
        if self.code.reset_mark:
            rows, broken = groups_by_mark(steps, self._steps_a_group, data_steps, self._groups_between)
        else:
            rows = groups_by_count(steps, self._steps_a_group, data_steps)
            broken = [step.time for step in steps if step.broken]
        flat = [step for row in rows for step in row]
        return Train(
            np.array([step.time if step else np.nan for step in flat], np.float64).reshape(-1, data_steps),
            np.array([step is not None and step.heard for step in flat], np.bool_).reshape(-1, data_steps),
            tuple(step.time for step in steps if not step.heard),
            tuple(broken),
            steps[0].time,
            steps[-1].time,
            ended,
        )

    def _steps(self, first: int) -> tuple[list[Step], bool]:
        """Every step from burst ``first`` on, up to the end mark or the last clock heard."""
        most_lost = LONGEST_SILENCE_GROUPS * self._steps_a_group
        time = self.times[first]
        place = 0 if self.marks[first] or not self.code.reset_mark else None
        steps = [Step(time, True, self.marks[first])]
        lost = 0
        while lost <= most_lost and time < self.pace.size:
            expected = self._next(time, place == 0)
            found = self._burst_near(expected, lost)
            if found is None and place == 0:
                # A burst where the mark's own tone should have been: the mark stands elsewhere.
                unmarked = self._next(time, False)
                found = self._burst_near(unmarked, lost)
                if found is not None:
                    expected, place = unmarked, None
            broken = False
            if found is None and lost >= LOST_BEFORE_LOOKING_ELSEWHERE:
                found = self._elsewhere(expected)
                broken = found is not None
            if found is None:
                lost += 1
                time = expected
                place = None if place is None else (place + 1) % self._steps_a_group
                steps.append(Step(time, False))
                continue
            lost = 0
            # What noise made long is followed by the next clocks at once; a real end mark is not.
            if self.code.end_mark and self.bursts.end[found] and self._hits(self.times[found], False, 3) < 2:
                return steps, True
            follows = 0 if place is None else (place + 1) % self._steps_a_group
            marked = self.marks[found] if place is None or broken else self._mark_at(found, follows == 0)
            time = self.times[found] if broken else expected + self._follow(found) * (self.times[found] - expected)
            steps.append(Step(time, True, marked, broken))
            if marked:
                place = 0
            elif place is not None:
                place = None if broken and self.code.reset_mark else (place + 1) % self._steps_a_group
        return steps[: len(steps) - lost], False

    def _follow(self, burst: int) -> float:
        strength = self.strengths[burst]
        return FOLLOW_LEAST + (FOLLOW_MOST - FOLLOW_LEAST) * strength / (strength + FOLLOW_NOISE)

    def _mark_at(self, burst: int, expected: bool) -> bool:
        """Whether ``burst`` is a reset mark: where the group's cadence says otherwise, the next clocks decide."""
        marked = self.marks[burst]
        if marked == expected or expected:
            return marked
        time = self.times[burst]
        return self._hits(time, True, 3) > self._hits(time, False, 3)

    def _elsewhere(self, expected: float) -> int | None:
        """A burst before the next predicted one that starts a train out of cadence."""
        burst = bisect_left(self.times, expected)
        if burst == len(self.times) or self.times[burst] > self._next(expected, False):
            return None
        reach = self._hops(WIDEST_WINDOW * self._step_s, expected)
        if self.times[burst] > self._next(expected, False) - reach:
            return None
        in_cadence = self._hits(expected, False, TRIAL_STEPS)
        elsewhere = self._hits(self.times[burst], self.marks[burst], TRIAL_STEPS)
        return burst if elsewhere >= TRIAL_HITS > 2 * in_cadence else None
