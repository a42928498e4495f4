"""Sections of a report that need no browser: what stands out, the rows that were refused, and how to repeat it all."""

import re

import pytest
from tapewright.reports.report_method import commands
from tapewright.reports.report_summary import summary_section
from tapewright.reports.report_table import table_section


def row(codec, receiver, channel, right, trials=20, speed=10.0):
    estimate = {"rate": right / trials, "low": 0.0, "high": 1.0, "method": "as the test says"} if trials else None
    return {
        **{"codec": codec, "receiver": receiver, "channel": channel, "codec_spec": codec, "channel_spec": channel},
        **{"program": "chime", "program_sha256": "0", "payload_bytes": 128, "seed": 3, "needs": "relays"},
        **{"trials": trials, "right": right, "detected": trials - right, "silent": 0, "on_frontier": False},
        **{"useful_bytes_per_s": speed, "tape_s": 12.8, "load_success": estimate, "residual_byte_error_rate": estimate},
        "stop": "all trials ran" if trials else "refused: too dense for contacts",
    }


def refused(codec, channel):
    return row(codec, "relays", channel, 0, 0)


@pytest.fixture
def rows():
    """Two receivers, one of which refuses the quicker format."""
    return [
        row("quick", "sound", "new", 20, speed=50.0),
        row("slow", "sound", "new", 20),
        refused("quick", "new"),
        row("slow", "relays", "new", 17),
        row("quick", "sound", "worn", 0, speed=50.0),
        row("slow", "sound", "worn", 20),
        refused("quick", "worn"),
        row("slow", "relays", "worn", 3),
    ]


def entries(rows):
    return [{"bounds": {"success_at_least": 0.86, "silent_at_most": 0.14} if one["trials"] else None} for one in rows]


def lines(section):
    return [re.sub("<[^>]+>", "|", line) for line in re.findall("<tr.*?</tr>", section)]


def test_one_command_repeats_a_comparison_in_which_rows_were_refused(rows):
    (only,) = commands(rows)
    assert only == (
        "tapewright compare --program chime --codec quick --codec slow --receiver sound --receiver relays "
        "--channel new --channel worn --trials 20 --seed 3"
    )


def test_rows_of_no_one_comparison_are_repeated_one_by_one_and_what_was_refused_is_not(rows):
    assert len(commands(rows[:-1])) == 5
    assert len(commands([*rows[:-1], row("slow", "relays", "worn", 3, 21)])) == 6
    assert len(commands([refused("quick", "new")])) == 1


def test_what_stands_out_is_told_for_each_receiver(rows):
    told = lines("".join(summary_section({"rows": rows, "evidence": entries(rows), "verdict": []})))
    assert "heard by" in told[0]
    found = [[cell for cell in line.split("|") if cell][:4] for line in told[1:]]
    assert found == [
        ["new", "sound", "quick", "50.0"],
        ["new", "relays", "none; the fewest lost: slow", "10.0"],
        ["worn", "sound", "slow", "10.0"],
        ["worn", "relays", "none; the fewest lost: slow", "10.0"],
    ]


def test_what_stands_out_is_told_for_each_program(rows):
    both = [one for one in rows if one["receiver"] == "sound"]
    both += [{**one, "program": "bells", "useful_bytes_per_s": 7.0} for one in both]
    told = lines("".join(summary_section({"rows": both, "evidence": entries(both), "verdict": []})))
    found = [[cell for cell in line.split("|") if cell][:4] for line in told[1:]]
    assert found == [
        ["new", "chime", "quick", "50.0"],
        ["new", "bells", "quick", "7.0"],
        ["worn", "chime", "slow", "10.0"],
        ["worn", "bells", "slow", "7.0"],
    ]


def test_a_channel_without_a_tape_says_so():
    rows = [refused("quick", "new")]
    told = "".join(summary_section({"rows": rows, "evidence": entries(rows), "verdict": []}))
    assert "no tape was played" in told
    assert "heard by<b>relays</b>" in told


def test_a_refusal_is_told_once(rows):
    section = "".join(table_section(rows, entries(rows)))
    assert section.count("refused: too dense for contacts") == 1
    assert "<li>quick, relays: refused: too dense for contacts</li>" in section
