"""The kit over every choice and switch a plug-in declares, one moved at a time, and over stacks in other orders."""

import dataclasses

import pytest
from tapewright.contracts.conformance import EXPECTED, Exempt, checks_for, kinds_of
from tapewright.contracts.errors import UsageError
from tapewright.contracts.parameters import parameters_of
from tapewright.contracts.preset import Preset
from tapewright.contracts.registry import installed
from tapewright.contracts.spec import format_item

KINDS = ("codec", "channel", "receiver")


def moved(plug_in):
    """The canonical spec of each setting that differs from the defaults in one choice or switch."""
    for declared in parameters_of(plug_in):
        others = declared.choices or ((True, False) if isinstance(declared.default, bool) else ())
        for value in others:
            if value != declared.default:
                try:
                    yield format_item(dataclasses.replace(plug_in(), **{declared.name: value}))
                except UsageError:
                    continue  # a choice that goes with another


def settings():
    for home in KINDS:
        registry = installed(home)
        for name in registry.names():
            found = registry.load(name)
            if not isinstance(found, Preset) and registry.package(name) == "tapewright":
                kind = kinds_of(home, name)[0]
                yield from ((kind, spec) for spec in moved(found))


STACKS = (
    "contents/frame:block_bytes=16,body_check=crc-32/biphase:tracks=split,bit_rate_hz=2400",
    "contents/interleave/rs/biphase:variant=space,tracks=left",
    "rs/frame:body_check=none/biphase:bit_rate_hz=3000",
    "crc:algorithm=crc-32-bzip2/biphase:variant=level",
)
SETTINGS = [*settings(), *(("codec", spec) for spec in STACKS)]
IDS = [f"{kind}-{number}" for number, (kind, _) in enumerate(SETTINGS)]


@pytest.mark.parametrize(
    ("kind", "spec"), SETTINGS, ids=[f"{kind}-{number}" for number, (kind, _) in enumerate(SETTINGS)]
)
def test_every_choice_conforms(kind, spec):
    ran = 0
    for check in checks_for(kind, spec):
        try:
            check()
        except Exempt:
            continue
        except AssertionError as error:
            raise AssertionError(f"{spec}: {check}: {error}") from error
        ran += 1
    assert ran >= len(EXPECTED[kind]) - 3
