"""Plans in a store: only the meetings that are rows of them count."""

from importlib.resources import files
from pathlib import Path

import pytest
from tapewright.benchmarks.merge import merge
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.store import Store
from tapewright.benchmarks.stored_study import answer, run, stored_plan
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.trials import Threads

STUDY = """
[study]
bytes = {bytes}
codecs = ["{codec}"]
receivers = ['{receiver}']
channels = ["wire"]
trials = {trials}
"""


def stored(path: Path, codec: str, receiver: str, size: int = 1, trials: int = 1) -> Path:
    """The store of such a study after a run."""
    path.parent.mkdir(exist_ok=True)
    path.write_text(STUDY.format(bytes=size, codec=codec, receiver=receiver, trials=trials))
    store = path.with_suffix(".study")
    create(store)
    with Store(store, writing=True) as open_store:
        run(open_store, read_study_file(path), Threads(2))
    return store


def rows(*stores: Path) -> list[dict]:
    return [row.as_json() for store in stores for row in answer(store)]


def test_what_no_receiver_of_the_plan_was_asked_to_load_does_not_have_to_fit(tmp_path) -> None:
    """The relays have no room for what the counted rails make of 255 bytes, and nobody asked them to load that."""
    relays = stored(tmp_path / "relays.toml", "plain-clocked", "relays", 255)
    sound = stored(tmp_path / "sound.toml", "rails-counted", "sound", 255)
    whole = tmp_path / "whole.study"
    merge([relays, sound], whole)
    assert rows(whole) == rows(relays, sound)
    again = tmp_path / "again.study"
    merge([whole], again)
    assert rows(again) == rows(whole)
    with Store(again) as store:
        (part,) = stored_plan(store).parts
    assert (part.study.trials, part.study.program_name) == (1, "255 invented bytes")


@pytest.mark.parametrize("gone", [False, True])
def test_relay_sets_of_one_name_and_content_in_two_folders(gone, tmp_path) -> None:
    ready = files("tapewright.receivers.relays").joinpath("sets/signal_12v.toml").read_bytes()
    folders = [tmp_path / name for name in ("attic", "cellar")]
    for folder in folders:
        folder.mkdir()
        (folder / "ours.toml").write_bytes(ready)
    spec = 'relays:set="ours.toml"'
    parts = [
        stored(folder / "bells.toml", codec, spec)
        for folder, codec in zip(folders, ("clocked", "clocked-parity"), strict=True)
    ]
    before = rows(*parts)
    if gone:
        for folder in folders:
            (folder / "ours.toml").unlink()
    merge(parts, tmp_path / "whole.study")
    for folder in folders:
        (folder / "ours.toml").unlink(missing_ok=True)
    differ = dict.fromkeys(("receiver", "receiver_spec", "on_frontier"))
    merged = rows(tmp_path / "whole.study")
    assert [{**row, **differ} for row in merged] == [{**row, **differ} for row in before]
