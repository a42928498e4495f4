"""The demo program keeps to the table that its module describes."""

from __future__ import annotations

from pathlib import Path

import pytest
from tapewright.files.programs import read_program

CHIME = read_program("chime").data


def steps(start: int) -> list[tuple[int, int]]:
    """(what, with what) from ``start`` to the end of the run."""
    run = []
    while CHIME[start]:
        run.append(divmod(CHIME[start], 16))
        start += 1
    return run


def test_it_is_128_bytes_whose_sum_is_zero() -> None:
    assert len(CHIME) == 128
    assert sum(CHIME) % 256 == 0
    assert CHIME[5:8] == bytes(3)


@pytest.mark.parametrize("run", range(5))
def test_every_hammer_that_goes_on_goes_off_after_a_wait(run: int) -> None:
    on: int | None = None
    waited = 0
    for what, which in steps(CHIME[run]):
        assert what in (1, 2, 3, 4)
        if what == 1:
            assert on is None
            on, waited = which, 0
        elif what == 2:
            assert on == which
            assert waited > 0
            on = None
        else:
            waited += which
    assert on is None
    assert len(steps(CHIME[run])) >= 4


def test_the_runs_fill_the_memory_without_a_hole() -> None:
    ends = [start + len(steps(start)) + 1 for start in CHIME[:5]]
    assert list(CHIME[1:5]) == ends[:4]
    assert CHIME[0] == 8
    assert ends[4] <= 127


def test_the_name_wins_over_a_file_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("chime").write_bytes(b"mine")
    assert read_program("chime").data == CHIME
    assert read_program("chime").notes == ("the demo program is taken, not the file; './chime' names the file",)
    assert read_program("./chime").data == b"mine"
