"""Identities: what changes a count changes them, what cannot does not."""

import json
from dataclasses import replace
from importlib.resources import files

import pytest
from tapewright.benchmarks import identity as module
from tapewright.benchmarks import records
from tapewright.benchmarks.identity import code, identity
from tapewright.benchmarks.study import Study
from tapewright.contracts import codec as contract

pytestmark = pytest.mark.usefixtures("toys")


def study(**changed) -> Study:
    asked = {"codecs": ("toy-checked",), "receivers": ("sound",), "channels": ("toy_flips:rate=0.01",), "seed": 7}
    return Study(**{"program": b"noon", "program_name": "noon", **asked, **changed})


def known(asked: Study) -> str:
    return identity(asked, asked.tasks()[0])


@pytest.mark.parametrize(
    "changed",
    [
        {"program": b"moon"},
        {"seed": 8},
        {"sample_rate_hz": 48_000},
        {"codecs": ("toy_pulse",)},
        {"codecs": ("toy_parity/toy_pulse:frames=2",)},
        {"receivers": ("toy_coin",)},
        {"channels": ("toy_flips:rate=0.02",)},
        {"channels": ("toy_flips:rate=0.01/toy_slow",)},
    ],
)
def test_whatever_changes_a_tape_changes_it(changed) -> None:
    assert known(study(**changed)) != known(study())


def test_names_defaults_and_the_number_of_trials_do_not() -> None:
    same = study(program_name="twelve", codecs=("toy_parity/toy_pulse:frames=1",), trials=3)
    assert known(same) == known(study())


@pytest.mark.parametrize("package", ["numpy", "scipy", "numba", "tapewright-toys"])
def test_another_version_of_a_package_that_makes_counts_changes_it(package, monkeypatch) -> None:
    before = known(study())
    original = records._version
    monkeypatch.setattr(records, "_version", lambda name: "0.0" if name == package else original(name))
    assert known(study()) != before


def test_another_version_of_anything_else_does_not(monkeypatch) -> None:
    before = known(study())
    original = records._version
    monkeypatch.setattr(records, "_version", lambda name: "0.0" if name == "tapewright" else original(name))
    monkeypatch.setattr(records.platform, "python_version", lambda: "3.99")
    assert known(study()) == before


def test_another_format_version_or_other_code_changes_it(monkeypatch) -> None:
    before = known(study())
    monkeypatch.setattr(module, "FORMAT_VERSION", contract.FORMAT_VERSION + 1)
    other_format = known(study())
    monkeypatch.undo()
    monkeypatch.setattr(module, "code", lambda: "other")
    assert len({before, other_format, known(study())}) == 3


def test_the_code_is_every_source_that_makes_counts_and_no_other(monkeypatch, tmp_path) -> None:
    """A copy of the package has the same code; a changed codec changes it, a changed picture does not."""
    import shutil
    from pathlib import Path

    import tapewright

    root = Path(tapewright.__file__).parent
    for folder in ("contracts", "kernels", "codecs", "channel_models", "receivers", "benchmarks", "reports"):
        shutil.copytree(root / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
    here = code()
    monkeypatch.setattr(module.resources, "files", lambda package: tmp_path)

    def again() -> str:
        code.cache_clear()
        return code()

    try:
        assert again() == here
        for path in (tmp_path / "reports" / "frontier_picture.py", tmp_path / "benchmarks" / "records.py"):
            path.write_text(path.read_text() + "# later\n")
        assert again() == here
        found = {here}
        for name in ("codecs/line_codes/biphase.py", "kernels/noise.py", "benchmarks/tally.py"):
            path = tmp_path / name
            path.write_text(path.read_text() + "# later\n")
            found.add(again())
        assert len(found) == 4
    finally:
        code.cache_clear()


def test_a_file_counts_by_what_it_holds_and_not_by_its_name(tmp_path) -> None:
    ready = files("tapewright.receivers.relays").joinpath("sets/signal_12v.toml").read_text()
    told = []
    for name, text in (("ours.toml", ready), ("theirs.toml", ready), ("ours.toml", ready + "\n# later\n")):
        (tmp_path / name).write_text(text)
        asked = study(codecs=("plain-clocked",), receivers=(f'relays:set="{tmp_path / name}"',), channels=("wire",))
        told.append(known(asked))
    assert told[0] == told[1] != told[2]
    assert str(tmp_path) not in told[0]


def test_it_is_plain_json_in_one_line() -> None:
    told = known(study())
    assert json.loads(told)["seed"] == 7
    assert "\n" not in told
    assert replace(study(), trials=2).tasks()[0].codec.spec == "toy_parity/toy_pulse:frames=1"
