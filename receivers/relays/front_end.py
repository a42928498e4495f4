"""Front end: from a tone burst to the current in a relay coil, and to its contact.

Amplifier (gain, clipping, output impedance), optional step-up transformer, half or full-wave rectifier with its
drops, reservoir C, coil R and L; or a transistor that the reservoir turns on and that switches the coil from the
supply, with a clamp. The coil on the rectifier is *not* switched: when the tone stops, the reservoir discharges into
it, and a bridge then lets it freewheel at two drops. While the rectifier conducts

    C dv/dt = (e - v)/R_s - i,    L di/dt = v - R i,    e = |amplifier| - drops,

without the first term while it does not, and v cannot fall below the freewheeling drop.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...contracts.errors import UsageError
from ...contracts.signal import Signal
from .coil import PLAIN_DIODE, Clamp, Coil

RECTIFIERS = ("half", "bridge", "centre_tap")
DRIVERS = ("none", "transistor")

CONTACT_FOLLOW = 0.2
"""Share of the travel over which a closed contact stays closed (spring follow-through; common practice)."""

LONGEST_PART_S = 6e-6
"""The mode of the rectifier is decided once a part of a sample interval; a shorter part costs time, not accuracy: at
this length a contact moves by at most a sample (tested)."""

NO_RESERVOIR_F = 1e-9
"""Stray capacitance that stands in for no reservoir; with 100 ohm its time constant is a tenth of a microsecond."""


@dataclass(frozen=True, slots=True)
class FrontEnd:
    """One track's electronics.

    Attributes:
        gain_v: volts out for a full-scale sample.
        clip_v: where the amplifier clips.
        output_ohm: its output impedance.
        transformer_ratio: secondary over primary turns; 1 without a transformer.
        winding_ohm: resistance of the windings, seen from the secondary.
        rectifier: one of ``RECTIFIERS``: one drop (half, centre_tap) or two (bridge).
        diode_v: forward drop.
        freewheel_diode: a diode across the coil; a bridge needs none.
        reservoir_f: the capacitor; 0 for none.
        driver: ``none``: the coil hangs on the reservoir; ``transistor``: it is switched from the supply.
        bleed_ohm: what discharges the reservoir of a transistor driver.
        threshold_v: reservoir voltage at which the transistor turns on.
        supply_v: behind the transistor, its saturation voltage taken off.
        clamp: across the coil of a transistor driver.

    Raises:
        UsageError: a figure out of its range.
    """

    gain_v: float
    clip_v: float
    output_ohm: float
    transformer_ratio: float = 1.0
    winding_ohm: float = 0.0
    rectifier: str = "bridge"
    diode_v: float = 0.7
    freewheel_diode: bool = False
    reservoir_f: float = 0.0
    driver: str = "none"
    bleed_ohm: float = 4_700.0
    threshold_v: float = 1.4
    supply_v: float = 12.0
    clamp: Clamp = PLAIN_DIODE

    def __post_init__(self) -> None:
        for name in ("gain_v", "clip_v", "output_ohm", "transformer_ratio", "bleed_ohm"):
            if not getattr(self, name) > 0:
                raise UsageError(f"front_end: '{name}' must be above 0, not {getattr(self, name):g}.")
        for name in ("winding_ohm", "diode_v", "reservoir_f", "threshold_v", "supply_v"):
            if not getattr(self, name) >= 0:
                raise UsageError(f"front_end: '{name}' must be at least 0, not {getattr(self, name):g}.")
        if self.rectifier not in RECTIFIERS:
            raise UsageError(f"front_end: 'rectifier' must be one of {', '.join(RECTIFIERS)}, not {self.rectifier}.")
        if self.driver not in DRIVERS:
            raise UsageError(f"front_end: 'driver' must be one of {', '.join(DRIVERS)}, not {self.driver}.")
        if self.driver == "transistor" and self.clamp.kind == "resistor":
            raise UsageError("front_end: a transistor's 'clamp' must be none, diode or diode_zener, not resistor.")

    @property
    def drop_v(self) -> float:
        """What the rectifier takes off the peak."""
        return self.diode_v * (2 if self.rectifier == "bridge" else 1)

    @property
    def source_ohm(self) -> float:
        """Impedance behind the rectifier."""
        return self.output_ohm * self.transformer_ratio**2 + self.winding_ohm

    @property
    def floor_v(self) -> float:
        """How far below zero the coil can pull the reservoir."""
        if self.rectifier == "bridge":
            return -2 * self.diode_v
        return -self.diode_v if self.freewheel_diode else -1e9

    @property
    def peak_v(self) -> float:
        """Highest voltage that the reservoir can reach without load."""
        return self.clip_v * self.transformer_ratio - self.drop_v


@dataclass(frozen=True, slots=True)
class Armature:
    """How a relay's armature moves, without its coil's own rise and decay.

    Attributes:
        travel_in_s: from the pick-up current to the make contact.
        travel_out_s: from the drop-out current to the break contact.
    """

    travel_in_s: float
    travel_out_s: float

    def __post_init__(self) -> None:
        for name in ("travel_in_s", "travel_out_s"):
            if not getattr(self, name) > 0:
                raise UsageError(f"armature: '{name}' must be above 0, not {getattr(self, name):g}.")


@dataclass(frozen=True, slots=True)
class ContactEvents:
    """What a relay's armature did to its contacts.

    Attributes:
        times_s: when, ascending; float64, shape (events,).
        kinds: MAKE_OPENS, MAKE_CLOSES, BREAK_OPENS, BREAK_CLOSES (0 to 3) of the kernel; int8, shape (events,).
        currents_a: coil current at that moment; float64, shape (events,).
    """

    times_s: NDArray[np.float64]
    kinds: NDArray[np.int8]
    currents_a: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CoilTrace:
    """Reservoir voltage, coil current and armature position at each frame; float64, shape (frames,)."""

    reservoir_v: NDArray[np.float64]
    current_a: NDArray[np.float64]
    armature: NDArray[np.float64]


def listen(signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature) -> ContactEvents:
    """What the relay on ``track`` (0 left, 1 right) does while ``signal`` plays. It starts at rest."""
    events, _ = _run(signal, track, front_end, coil, armature, traced=False)
    return events


def trace(signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature) -> CoilTrace:
    """Voltage, current and armature frame by frame, for pictures and checks; 24 bytes a frame."""
    _, rows = _run(signal, track, front_end, coil, armature, traced=True)
    return CoilTrace(*(np.ascontiguousarray(column) for column in rows.T))


def parts_a_sample(sample_rate_hz: int) -> int:
    """How many parts a sample interval is cut into.

    >>> parts_a_sample(44_100)
    4
    """
    return max(1, int(np.ceil(1.0 / (sample_rate_hz * LONGEST_PART_S))))


def _run(
    signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature, *, traced: bool
) -> tuple[ContactEvents, NDArray[np.float64]]:
    from ...kernels import rectified_coil as kernel

    rate = signal.sample_rate_hz
    parts = parts_a_sample(rate)
    state = np.zeros(kernel.STATES)
    state[kernel.STATE_BREAK] = 1.0
    # Two opposite events of one contact are at least the follow-through apart, out or in.
    quickest = CONTACT_FOLLOW * min(armature.travel_in_s, armature.travel_out_s)
    room = 16 + 4 * int(signal.duration_s / quickest) if signal.frames else 0
    room = min(room, 4 * signal.frames)
    frames, kinds, currents = np.zeros(room, np.int64), np.zeros(room, np.int8), np.zeros(room)
    rows = np.zeros((signal.frames if traced else 0, 3))
    written = kernel.follow_coil(
        signal.samples[track], _circuit(front_end, coil, armature, rate), state, parts, frames, kinds, currents, rows
    )
    return ContactEvents(frames[:written] / rate, kinds[:written], currents[:written]), rows


def _circuit(front_end: FrontEnd, coil: Coil, armature: Armature, rate: int) -> NDArray[np.float64]:
    from ...kernels import rectified_coil as kernel

    whole_s = 1.0 / rate
    part_s = whole_s / parts_a_sample(rate)
    figures = np.zeros(kernel.FIGURES)
    rows = _switched_rows if front_end.driver == "transistor" else _direct_rows
    for offset, henry, length_s in (
        (kernel.AWAY_PART, coil.released_h, part_s),
        (kernel.AWAY_WHOLE, coil.released_h, whole_s),
        (kernel.IN_PART, coil.operated_h, part_s),
        (kernel.IN_WHOLE, coil.operated_h, whole_s),
    ):
        figures[offset : offset + kernel.ROWS] = rows(front_end, coil.resistance_ohm, henry, length_s)
    figures[kernel.GAIN_V] = front_end.gain_v * front_end.transformer_ratio
    figures[kernel.CLIP_V] = front_end.clip_v * front_end.transformer_ratio
    figures[kernel.DROP_V] = front_end.drop_v
    figures[kernel.HALF_WAVE] = front_end.rectifier == "half"
    figures[kernel.FLOOR_V] = -1e9 if front_end.driver == "transistor" else front_end.floor_v
    figures[kernel.SWITCHED] = front_end.driver == "transistor"
    figures[kernel.THRESHOLD_V] = front_end.threshold_v
    figures[kernel.PICK_UP_A] = coil.pick_up_a
    figures[kernel.DROP_OUT_A] = coil.drop_out_a
    figures[kernel.RISE_PER_FRAME] = 1.0 / (rate * armature.travel_in_s)
    figures[kernel.FALL_PER_FRAME] = 1.0 / (rate * armature.travel_out_s)
    figures[kernel.INDUCTANCE_RATIO] = coil.released_h / coil.operated_h
    figures[kernel.FOLLOW] = CONTACT_FOLLOW
    return figures


def _direct_rows(front_end: FrontEnd, ohm: float, henry: float, part_s: float) -> NDArray[np.float64]:
    farad = max(front_end.reservoir_f, NO_RESERVOIR_F)
    source = front_end.source_ohm
    discharge = np.array([[0.0, -1.0 / farad], [1.0 / henry, -ohm / henry]])
    charge = discharge + np.array([[-1.0 / (source * farad), 0.0], [0.0, 0.0]])
    conducting = _propagator(charge, np.array([1.0 / (source * farad), 0.0]), part_s)
    isolated = _propagator(discharge, np.zeros(2), part_s)
    kept = np.exp(-ohm / henry * part_s)
    floor = max(front_end.floor_v, -1e6)  # -1e9 stands for never; the row is then unused
    freewheel = np.array([0.0, kept, 0.0, 0.0, floor / ohm * (1.0 - kept)])
    return np.concatenate([conducting.ravel(), isolated.ravel(), freewheel])


def _switched_rows(front_end: FrontEnd, ohm: float, henry: float, part_s: float) -> NDArray[np.float64]:
    farad = max(front_end.reservoir_f, NO_RESERVOIR_F)
    source = front_end.source_ohm
    leak = 1.0 / (front_end.bleed_ohm * farad)
    # The coil's row is filled in below: the transistor, not the reservoir, drives it.
    discharge = np.array([[-leak, 0.0], [0.0, 0.0]])
    charge = discharge + np.array([[-1.0 / (source * farad), 0.0], [0.0, 0.0]])
    conducting = _propagator(charge, np.array([1.0 / (source * farad), 0.0]), part_s)
    isolated = _propagator(discharge, np.zeros(2), part_s)
    kept = np.exp(-ohm / henry * part_s)
    conducting[1] = isolated[1] = (0.0, kept, 0.0, 0.0, 0.0)
    on = front_end.supply_v / ohm * (1.0 - kept)
    off = -front_end.clamp.volts / ohm * (1.0 - kept)
    return np.concatenate([conducting.ravel(), isolated.ravel(), (on, 0.0, off, 0.0, 0.0)])


def _propagator(matrix: NDArray[np.float64], inlet: NDArray[np.float64], part_s: float) -> NDArray[np.float64]:
    """Exact step of x' = matrix x + inlet e with e straight from e0 to e1; shape (2, 5): v, i, e0, e1, constant."""
    augmented = np.zeros((4, 4))
    augmented[:2, :2] = matrix
    augmented[:2, 2] = inlet
    augmented[2, 3] = 1.0
    step = _exponential(augmented * part_s)
    by_slope = step[:2, 3] / part_s
    return np.column_stack([step[:2, :2], step[:2, 2] - by_slope, by_slope, np.zeros(2)])


def _exponential(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix exponential by scaling and squaring, with a Taylor series that is exact to rounding below norm 1/2.

    A library's general routine takes fifty times as long for a matrix this small, and timing needs thousands.
    """
    squarings = max(0, int(np.ceil(np.log2(max(float(np.abs(matrix).sum(axis=1).max()), 1e-12)))) + 1)
    scaled = matrix / 2.0**squarings
    term = result = np.eye(len(matrix))
    for order in range(1, 16):
        term = term @ scaled / order
        result = result + term
    for _ in range(squarings):
        result = result @ result
    return result


def release_s(front_end: FrontEnd, coil: Coil, armature: Armature, tone_hz: float, burst_s: float) -> float:
    """Time from the end of a burst to the closing of the break contact; infinite if it does not within a second.

    The burst is twice what the amplifier clips at, which fills the reservoir most. Infinite too for a relay that never
    came in: that is no release.
    """
    from ...kernels.rectified_coil import BREAK_CLOSES, MAKE_CLOSES

    rate = 44_100
    times = np.arange(int((burst_s + 1.0) * rate)) / rate
    loudest = max(1.0, 2.0 * front_end.clip_v / front_end.gain_v)
    tone = np.where(times < burst_s, loudest * np.sin(2 * np.pi * tone_hz * times), 0.0)
    events = listen(Signal(tone, rate), 0, front_end, coil, armature)
    if not (events.kinds == MAKE_CLOSES).any():
        return float("inf")
    closed = events.times_s[(events.kinds == BREAK_CLOSES) & (events.times_s >= burst_s)]
    if closed.size:
        return float(closed[0]) - burst_s
    return 0.0 if events.kinds[-1] == BREAK_CLOSES else float("inf")  # gone already, before the burst ended


def largest_reservoir_f(
    front_end: FrontEnd, coil: Coil, armature: Armature, tone_hz: float, burst_s: float, within_s: float
) -> float | None:
    """The largest reservoir whose relay still lets go ``within_s`` after a burst, to 1 %; None if none does.

    A reservoir so large that the relay does not come in during the burst is too large.
    """

    def lets_go(farad: float) -> bool:
        return release_s(replace(front_end, reservoir_f=farad), coil, armature, tone_hz, burst_s) <= within_s

    low, high = 1e-8, 1.0
    if not lets_go(low):
        return None
    if lets_go(high):
        return high
    while high / low > 1.01:
        middle = float(np.sqrt(low * high))
        if lets_go(middle):
            low = middle
        else:
            high = middle
    return low
