"""Answers read from files: what is none is refused in one line that says what is wrong."""

import json

import pytest
from tapewright.benchmarks.answer_file import read_answer
from tapewright.benchmarks.records import records
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run
from tapewright.contracts.errors import TapewrightError, UsageError


@pytest.fixture
def rows(toys):
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound", "toy_deaf"), ("toy_flips",), trials=3)
    return [row.as_json() for row in records(study, run(study))]


@pytest.fixture
def source(tmp_path):
    def written(told):
        path = tmp_path / "answer.json"
        path.write_text(told if isinstance(told, str) else json.dumps(told), encoding="utf-8")
        return path

    return written


def test_rows_alone_or_with_a_verdict_are_read(rows, source):
    assert list(read_answer(source(rows)).rows) == rows
    told = read_answer(source({"rows": rows, "sentences": ["Take toy_pulse.", 5]}))
    assert (list(told.rows), told.verdict) == (rows, ("Take toy_pulse.",))
    assert list(read_answer(source("\n " + json.dumps(rows))).rows) == rows


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ("[", "is not JSON: Expecting value"),
        ("[" * 100_000, "is not JSON: "),
        ('[{"tape_s": NaN}]', "is not JSON: NaN is no number"),
        ('[{"byte_errors": 1e999}]', "is not JSON: 1e999 is beyond all numbers"),
        ('[{"share_of_capacity": 1' + "0" * 400 + "}]", "is not JSON: a whole number of 401 digits is too long"),
        ('[{"codec": "half of one: \\ud83d"}]', "holds half a character, a surrogate alone"),
        ("[]", "holds no rows"),
        ("{}", "holds no rows; name a study's store, or what 'compare --json' or 'choose --json' printed."),
        ("", "is empty; name a study's store, or what 'compare --json' or 'choose --json' printed."),
        ("NaN", "is neither rows in JSON nor a study's store; name a study's store"),
        ('"rows"', "is neither rows in JSON nor a study's store"),
        ('{"rows": {}}', "holds no rows"),
        ("[5]", "row 1 must be an object, not 5"),
        ("[{}]", "row 1: 'codec' must be text, not null"),
        ([{}] * 2001, "must hold at most 2000 rows, not 2001"),
    ],
)
def test_what_is_no_answer_is_refused(told, says, source):
    with pytest.raises(UsageError, match=r"^source '.*answer\.json'") as refused:
        read_answer(source(told))
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("key", "value", "rule"),
    [
        ("codec", 5, "must be text, not 5"),
        ("trials", -1, "must be a whole number of at least 0, not -1"),
        ("trials", True, "must be a whole number"),
        ("trials", 4, "must be the sum of right, detected and silent, 3, not 4"),
        ("tape_s", 0, "must be a number above 0, not 0"),
        ("tape_s", "long", 'must be a number above 0, not "long"'),
        ("load_success", None, "must be a rate with its interval, not null"),
        ("load_success", {"rate": 0.5, "low": 0.6, "high": 0.7, "method": ""}, "must be a rate with its interval"),
        ("residual_byte_error_rate", {"rate": 2}, "must be a rate with its interval"),
        ("on_frontier", 1, "must be true or false, not 1"),
        ("versions", [], "must be an object, not []"),
        ("share_of_capacity", -1, "must be null or a number above 0, not -1"),
    ],
)
def test_a_row_that_lacks_what_a_row_holds_is_refused(key, value, rule, rows, source):
    rows[0][key] = value
    with pytest.raises(UsageError) as refused:
        read_answer(source(rows))
    assert f"row 1: '{key}' {rule}" in str(refused.value)


def test_what_is_no_file_is_refused(tmp_path):
    for path, says in ((tmp_path / "none", "there is no such file"), (tmp_path, "is a folder")):
        with pytest.raises(UsageError, match=says):
            read_answer(path)
    (tmp_path / "sound").write_bytes(b"RIFF and so on")
    with pytest.raises(TapewrightError):
        read_answer(tmp_path / "sound")
