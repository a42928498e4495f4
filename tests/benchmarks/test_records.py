"""Records: complete, true to the counts, and plain enough for JSON."""

import csv
import io
import json
from dataclasses import replace
from hashlib import sha256
from importlib.metadata import version

import numpy as np
import pytest
from tapewright.benchmarks.records import records
from tapewright.benchmarks.rows import rows_as_csv, rows_as_json
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import Result, run

pytestmark = pytest.mark.usefixtures("toys")

PROMISED = [
    "codec",
    "receiver",
    "channel",
    "payload_bytes",
    "tape_s",
    "useful_bytes_per_s",
    "trials",
    "right",
    "detected",
    "silent",
    "load_success",
    "residual_byte_error_rate",
    "capacity_bits_per_s",
    "receiver_limit_bits_per_s",
    "receiver_relays",
    "limit_bits_per_s",
    "guaranteed_burst_ms",
    "share_of_capacity",
    "stop",
    "seed",
    "versions",
    "machine",
]


@pytest.fixture
def rows():
    study = Study(
        bytes(range(64)),
        "ramp",
        codecs=("toy-checked", "toy_pulse", "toy_pulse:frames=3"),
        receivers=("sound", "toy_deaf"),
        channels=("toy_flips", "toy_flips:rate=0.005"),
        trials=25,
        seed=3,
    )
    return records(study, run(study))


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1.bin", "'=1+1.bin"),
        ("+1-bell.bin", "'+1-bell.bin"),
        ("-bell.bin", "'-bell.bin"),
        ("@mine.toml", "'@mine.toml"),
        ("\tbell.bin", "' bell.bin"),
        ("\r=bell.bin", "' =bell.bin"),
        (" =bell.bin", "' =bell.bin"),
        ("-1.5e-3", "-1.5e-3"),
        ("bell=1.bin", "bell=1.bin"),
        ("'bell.bin", "'bell.bin"),
        ("", ""),
    ],
)
def test_no_text_of_a_table_is_a_formula_and_no_number_is_text(rows, name, cell) -> None:
    row = rows[0]
    row = replace(
        row,
        study=replace(row.study, program_name=name),
        task=replace(row.task, codec_name=name),
        receiver_limit_bits_per_s=-1.5,
    )
    (line,) = csv.DictReader(io.StringIO(rows_as_csv([row])))
    assert (line["program"], line["codec"]) == (cell, cell)
    assert line["receiver_limit_bits_per_s"] == "-1.5"
    (told,) = json.loads(rows_as_json([row]))
    assert (told["program"], told["codec"]) == (name, name)


def test_a_record_says_all_that_is_promised(rows) -> None:
    for row in rows:
        told = json.loads(json.dumps(row.as_json(), allow_nan=False))
        assert told == row.as_json()
        assert [name for name in PROMISED if name not in told] == []
        assert told["program_sha256"] == sha256(bytes(range(64))).hexdigest()
        assert told["payload_bytes"] == 64
        assert told["seed"] == 3
        assert told["tape_s"] == pytest.approx(row.task.codec.encode(bytes(64)).duration_s)
        assert told["useful_bytes_per_s"] == pytest.approx(64 / told["tape_s"])
        assert told["versions"]["tapewright"] == version("tapewright")
        assert told["versions"]["tapewright-toys"] == "1.0"
        assert told["machine"]["cores"] >= 1
        assert (
            (told["capacity_bits_per_s"] is None)
            == (told["share_of_capacity"] is None)
            == (told["channel"] == "toy_flips")
        )
        assert (told["capacity_unknown"] is None) == (told["channel"] != "toy_flips")


def test_a_share_is_of_the_capacity_of_the_channel() -> None:
    study = Study(bytes(64), "blank", codecs=("plain-biphase",), channels=("hiss",), trials=1)
    (row,) = records(study, [Result(task, Tally()) for task in study.tasks()])
    told = row.as_json()
    # 20 kHz of each track at 46 dB below a sine of peak 1, and biphase has the power of one and 1.7 dB more (read off
    # its recording): 2 * 20,000 log2(1 + 10^4.77); the probe ends one part in a hundred below 20 kHz.
    power = np.mean(np.square(study.tasks()[0].codec.encode(bytes(64)).samples[:, 44_100:-15_000], dtype=float)) / 0.5
    assert 10 * np.log10(power) == pytest.approx(1.7, abs=0.1)
    assert told["capacity_bits_per_s"] == pytest.approx(40_000 * np.log2(1 + power * 10**4.6), rel=0.01)
    assert told["share_of_capacity"] == pytest.approx(8 * told["useful_bytes_per_s"] / told["capacity_bits_per_s"])


def test_the_lesser_of_capacity_and_what_the_receiver_takes_in_is_the_limit() -> None:
    study = Study(
        bytes(64), "blank", ("toy_pulse:frames=100",), ("sound", "toy_slowpoke"), ("wire", "hiss:level_db=20"), 1
    )
    rows = [row.as_json() for row in records(study, [Result(task, Tally(1, 1)) for task in study.tasks()])]
    free, slow, noisy, both = rows
    assert (free["limit_bits_per_s"], free["share_of_capacity"]) == (None, None)
    assert (slow["receiver_limit_bits_per_s"], slow["limit_bits_per_s"]) == (882.0, 882.0)
    assert slow["share_of_capacity"] == pytest.approx(0.5)  # 441 bits a second are sent
    assert noisy["limit_bits_per_s"] == noisy["capacity_bits_per_s"] < 882.0
    assert (both["receiver_limit_bits_per_s"], both["limit_bits_per_s"]) == (882.0, noisy["capacity_bits_per_s"])


def test_specs_stand_as_written_and_in_canonical_form(rows) -> None:
    told = rows[0].as_json()
    assert (told["codec"], told["codec_spec"]) == ("toy-checked", "toy_parity/toy_pulse:frames=1")
    assert (told["channel"], told["channel_spec"]) == ("toy_flips", "toy_flips:rate=0,blank=0")
    assert told["receiver"] == told["receiver_spec"] == "sound"


def test_what_was_not_played_has_no_rate(rows) -> None:
    refused = [row.as_json() for row in rows if row.task.receiver_name == "toy_deaf"]
    assert len(refused) == 6
    for told in refused:
        assert (told["trials"], told["load_success"], told["residual_byte_error_rate"]) == (0, None, None)
        assert told["stop"] == "refused: it needs a computer"
        assert told["on_frontier"] is False


def test_rates_follow_from_the_counts(rows) -> None:
    for row in rows:
        told = row.as_json()
        if told["trials"]:
            assert told["stop"] == "all trials ran"
            assert told["load_success"]["rate"] == told["right"] / 25
            assert told["residual_byte_error_rate"]["rate"] == told["byte_errors"] / (25 * 64)
            for name in ("load_success", "residual_byte_error_rate"):
                assert 0 <= told[name]["low"] <= told[name]["rate"] <= told[name]["high"] <= 1
                assert "95 % two-sided" in told[name]["method"]


def test_the_frontier_is_drawn_within_a_channel_and_a_receiver(rows) -> None:
    marked = {(row.task.channel_name, row.task.codec_name) for row in rows if row.on_frontier}
    # On a clean channel the fastest wins alone; on the noisy one the slow code buys fewer errors with its time.
    assert marked == {
        ("toy_flips", "toy_pulse"),
        ("toy_flips:rate=0.005", "toy_pulse"),
        ("toy_flips:rate=0.005", "toy_pulse:frames=3"),
    }
