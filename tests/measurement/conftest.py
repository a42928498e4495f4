"""One capture of a deck whose figures are known, shared by the tests that only read it."""

from __future__ import annotations

import pytest
from deck_rate import LOW_RATE_HZ
from simulated_deck import Deck
from tapewright.contracts.signal import Signal
from tapewright.measurement.layout import whole_recording
from tapewright.measurement.measuring import Measurement, measure


@pytest.fixture(scope="session")
def recording() -> Signal:
    """The test recording."""
    return whole_recording(LOW_RATE_HZ)


@pytest.fixture(scope="session")
def deck() -> Deck:
    """A deck and a tape."""
    return Deck.drawn(7)


@pytest.fixture(scope="session")
def capture(deck: Deck, recording: Signal) -> Signal:
    """What that deck makes of the test recording."""
    return deck.play(recording)


@pytest.fixture(scope="session")
def steps_told() -> list[tuple[int, int]]:
    """How many steps of how many were past, as told while it was measured."""
    return []


@pytest.fixture(scope="session")
def measured(capture: Signal, steps_told: list[tuple[int, int]]) -> Measurement:
    """What is measured of it."""
    return measure(capture, "deck seven", watch=lambda done, of: steps_told.append((done, of)))
