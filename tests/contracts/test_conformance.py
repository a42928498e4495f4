"""The conformance kit over everything that this project registers."""

import json
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from tapewright.contracts.conformance import EXPECTED, Check, Exempt, checks_for, kinds_of
from tapewright.contracts.errors import TapewrightError, UsageError
from tapewright.contracts.registry import KINDS, installed

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden"
DECLARED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["entry-points"]
NAMES = [(kind, name) for kind, group in KINDS.items() for name in DECLARED[group]]


def _golden(name):
    """The golden tapes that hold ``name``: its own, or for a line code those of the ready stacks over it."""
    for path in sorted(GOLDEN.glob("*.json")):
        last = json.loads(path.read_text(encoding="utf-8"))["spec"].split("/")[-1]
        if path.stem.startswith(f"{name}-v") or last.split(":")[0] == name:
            yield path


def _cases():
    for home, name in NAMES:
        try:
            checks = {kind: checks_for(kind, name, golden=_golden(name)) for kind in kinds_of(home, name)}
        except TapewrightError as error:
            yield pytest.param(None, error, id=f"{home}-{name}")
            continue
        for kind, laws in checks.items():
            for check in laws:
                yield pytest.param((kind, name), check, id=f"{kind}-{name}-{check}")


CASES = list(_cases())
RAN: Counter[tuple[str, str]] = Counter()


@pytest.mark.parametrize(("case", "check"), CASES)
def test_conforms(case, check):
    if case is None:
        pytest.fail(f"cannot be loaded: {check}")
    RAN[case] += 1
    check()


def test_every_expected_check_ran(request):
    """Fails if the kit, or a plug-in's share of it, shrinks; a run of chosen tests is measured by what it chose."""
    expected = {(kind, name): len(EXPECTED[kind]) for home, name in NAMES for kind in kinds_of(home, name)}
    collected = Counter(case.values[0] for case in CASES)
    assert collected == expected
    chosen = Counter(
        item.callspec.params["case"]
        for item in request.session.items
        if getattr(item, "originalname", "") == "test_conforms"
    )
    if not hasattr(request.config, "workerinput"):
        assert chosen == RAN


def test_everything_registered_is_declared():
    for kind, group in KINDS.items():
        ours = {name for name in installed(kind).names() if installed(kind).package(name) == "tapewright"}
        assert ours == set(DECLARED[group])


def test_each_kind_has_the_checks_of_its_laws():
    """The counts are written out so that a check cannot vanish from the list and the kit at once."""
    assert {kind: len(names) for kind, names in EXPECTED.items()} == {
        "codec": 10,
        "line_code": 10,
        "layer": 12,
        "channel_model": 13,
        "channel": 9,
        "receiver": 10,
    }


def test_an_exempt_check_says_why_and_runs_nothing():
    ran = []
    check = Check("law", "thing", lambda: ran.append(1), "it has no such part")
    with pytest.raises(Exempt, match="thing: it has no such part"):
        check()
    assert not ran
    assert str(check) == "law"


def test_an_unknown_kind_is_refused():
    with pytest.raises(UsageError, match="'kind' must be one of codec, line_code"):
        checks_for("sofa", "wire")


@pytest.mark.parametrize(("kind", "spec"), [("receiver", "no_such"), ("layer", "biphase"), ("line_code", "crc/crc")])
def test_a_spec_of_another_kind_is_refused(kind, spec):
    with pytest.raises(UsageError):
        checks_for(kind, spec)
