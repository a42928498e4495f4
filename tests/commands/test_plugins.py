"""``tapewright plugins``: everything that can stand in a spec, the broken too."""

import json
import os
import subprocess

from command_runs import TOYS, tapewright
from tapewright.contracts import registry
from tapewright.contracts.parameters import parameters_of


def plugins(*arguments: str, path: str = str(TOYS)) -> subprocess.CompletedProcess[str]:
    return tapewright("plugins", *arguments, PYTHONPATH=path)


def test_every_registered_name_is_listed_with_its_parameters() -> None:
    ran = plugins("--json")
    assert (ran.returncode, ran.stderr) == (0, "")
    entries = {(entry["kind"], entry["name"]): entry for entry in json.loads(ran.stdout)}
    for kind in registry.KINDS:
        for name in registry.installed(kind).names():
            entry = entries[kind, name]
            assert entry["summary"], entry
            if entry["role"] == "preset":
                assert entry["spec"] == registry.installed(kind).load(name).spec
            else:
                declared = parameters_of(registry.installed(kind).load(name))
                assert [told["name"] for told in entry["parameters"]] == [one.name for one in declared]
                assert [told["default"] for told in entry["parameters"]] == [one.default for one in declared]
                assert [told["unit"] for told in entry["parameters"]] == [one.unit for one in declared]
                assert all(told["help"] and told["range"] for told in entry["parameters"])
    pulse = entries["codec", "toy_pulse"]
    assert (pulse["role"], pulse["needs"], pulse["package"]) == ("line code", "computer", "tapewright-toys")
    assert pulse["parameters"] == [
        {
            "name": "frames",
            "default": 1,
            "unit": "",
            "low": 1,
            "high": 100,
            "choices": [],
            "range": "1 to 100",
            "help": "Frames a bit.",
        }
    ]


def test_the_list_for_people_is_plain_in_a_pipe() -> None:
    ran = plugins()
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "\x1b" not in ran.stdout
    lines = [" ".join(line.split()) for line in ran.stdout.splitlines()]
    assert "toy_pulse line code, computer: A toy: one sign a bit." in lines
    assert "frames=1 1 to 100: Frames a bit." in lines
    assert "= toy_parity/toy_pulse" in lines
    assert "wait_s=0 0 to 60 s: How long." in lines


def test_what_relays_can_decode_is_listed_with_its_cost() -> None:
    entries = {entry["name"]: entry for entry in json.loads(plugins("--json").stdout) if entry["kind"] == "codec"}
    priced = {name for name, entry in entries.items() if "relay_cost" in entry}
    assert priced == {name for name, entry in entries.items() if entry.get("needs") == "relays"}
    assert priced >= {"clocked", "dual_rail", "two_tone_rails", "parity", "vote", "ones_count", "plain-clocked"}
    assert entries["plain-clocked"]["relay_cost"] == entries["clocked"]["relay_cost"]
    assert entries["clocked"]["relay_cost"]["relays"] == 2 + 2 * 12 + 8 + 1
    lines = [" ".join(line.split()) for line in plugins().stdout.splitlines()]
    assert "in relays: 29 relays, 65 contacts, 2 tone filters, 8 steps a byte" in lines
    assert "catches any odd number of wrong bits in a byte, and stops there" in lines
    assert entries["sturdy"]["needs"] == "microcontroller"


def test_a_ready_stack_says_how_long_a_dropout_it_bears() -> None:
    entries = {entry["name"]: entry for entry in json.loads(plugins("--json").stdout) if entry["kind"] == "codec"}
    promised_ms = registry.codec("steady-worn").guaranteed_burst_ms(4096)
    assert promised_ms > 500
    assert entries["steady-worn"]["bears"] == {"payload_bytes": 4096, "guaranteed_burst_ms": promised_ms}
    assert entries["plain-biphase"]["bears"]["guaranteed_burst_ms"] == 0
    lines = [" ".join(line.split()) for line in plugins().stdout.splitlines()]
    assert f"bears a dropout of {int(promised_ms)} ms, wherever it falls, with 4096 bytes" in lines
    assert "bears a dropout of 0 ms" not in "".join(lines)


def test_a_broken_plug_in_is_a_line_and_not_a_crash() -> None:
    ran = plugins()
    assert "broken: codec: 'toy_broken' of package 'tapewright-toys' cannot be loaded: AttributeError" in ran.stdout
    (entry,) = [entry for entry in json.loads(plugins("--json").stdout) if entry["name"] == "toy_broken"]
    assert (entry["role"], entry["summary"]) == ("broken", "")
    assert "has no attribute 'Missing'" in entry["error"]


def test_two_packages_that_claim_one_name_are_both_named(tmp_path) -> None:
    rival = tmp_path / "rival_toys-2.0.dist-info"
    rival.mkdir()
    (rival / "METADATA").write_text("Metadata-Version: 2.1\nName: rival-toys\nVersion: 2.0\n")
    (rival / "entry_points.txt").write_text("[tapewright.codecs]\ntoy_pulse = rival_toys:Pulse\n")
    ran = plugins(path=f"{TOYS}{os.pathsep}{tmp_path}")
    assert ran.returncode == 0
    assert "broken: codec: packages 'rival-toys' and 'tapewright-toys' both claim the name 'toy_pulse'" in ran.stdout
    assert "toy-checked" in ran.stdout
