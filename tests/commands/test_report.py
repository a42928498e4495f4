"""``tapewright report`` and what other commands draw: pages and pictures, whole, and refused in one line."""

import errno
import json
import sys

import pytest
from tapewright.files import chime
from tapewright.reports import frontier_picture

CHANNEL = "hiss:level_db=-20/dropouts:per_minute=600,missing_share=1"
QUICK = ("--codec", "telegraph", "--channel", CHANNEL, "--trials", "4")


@pytest.fixture
def answer(shell, tmp_path):
    told = shell("compare", *QUICK, "--json")
    assert told.code == 0
    (tmp_path / "answer.json").write_text(told.out)
    return tmp_path / "answer.json"


def data_of(page):
    return json.loads(page.partition('id="data">')[2].partition("</script>")[0])


def test_an_answer_becomes_a_page(shell, answer, tmp_path):
    told = shell("report", "answer.json", "-o", "report.html", "--sweeps", "2", "--plot", "sweeps.svg")
    assert told.code == 0
    assert told.out.startswith("report.html: 1 rows, ")
    assert (tmp_path / "sweeps.svg").read_text().count("<svg") == 1
    page = (tmp_path / "report.html").read_text()
    data = data_of(page)
    assert data["rows"] == json.loads(answer.read_text())
    assert [len(curve["points"]) for curve in data["evidence"][0]["sweeps"]] == [3, 3]
    command = "tapewright compare --program chime --codec telegraph --receiver sound --channel "
    assert f"{command}{CHANNEL} --trials 4 --seed 1" in page
    assert "tapewright report answer.json -o report.html --sweeps 2" in page


def test_compare_writes_the_same_page(shell, answer, tmp_path):
    shell("report", "answer.json", "-o", "later.html", "--sweeps", "1")
    told = shell("compare", *QUICK, "--report", "at-once.html", "--sweeps", "1", "--json")
    assert told.code == 0
    assert json.loads(told.out) == json.loads(answer.read_text())
    assert "at-once.html: 1 rows" in told.err
    pages = [data_of((tmp_path / name).read_text()) for name in ("later.html", "at-once.html")]
    assert pages[0] == pages[1]


def test_a_store_becomes_a_page(shell, tmp_path):
    (tmp_path / "study.toml").write_text(
        '[study]\ncodecs = ["telegraph"]\nchannels = ["hiss:level_db=-20"]\ntrials = 3\nseed = 2\n'
    )
    assert shell("study", "run", "study.toml").code == 0
    told = shell("report", "study.study", "-o", "report.html", "--sweeps", "0")
    assert told.code == 0, told.err
    assert shell("report", "@study.toml", "-o", "again.html", "--sweeps", "0").code == 0
    pages = [(tmp_path / name).read_text() for name in ("report.html", "again.html")]
    assert data_of(pages[0]) == data_of(pages[1])
    (row,) = data_of((tmp_path / "report.html").read_text())["rows"]
    assert (row["trials"], row["seed"]) == (3, 2)


def test_what_was_found_can_be_had_as_json(shell, answer):
    told = shell("report", "answer.json", "-o", "report.html", "--sweeps", "0", "--json")
    assert told.code == 0
    (entry,) = json.loads(told.out)
    assert set(entry) == {"bounds", "anatomy", "excerpt"}
    assert "report.html: 1 rows" in told.err


def test_another_program_must_be_given(shell, tmp_path):
    (tmp_path / "own.bin").write_bytes(b"our own program")
    (tmp_path / "other.bin").write_bytes(b"not ours")
    told = shell("compare", "--program", "own.bin", *QUICK, "--json")
    (tmp_path / "answer.json").write_text(told.out)
    told = shell("report", "answer.json", "-o", "without.html", "--sweeps", "0")
    assert told.code == 0
    assert "note: 1 of 1 rows are not looked behind: the program is not at hand" in told.out
    told = shell("report", "answer.json", "-o", "report.html", "--program", "other.bin")
    assert (told.code, told.complaint) == (2, "program 'other.bin' is not the one that the source is about.")
    assert shell("report", "answer.json", "-o", "report.html", "--program", "own.bin", "--sweeps", "0").code == 0
    assert "anatomy" in data_of((tmp_path / "report.html").read_text())["evidence"][0]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("nowhere.json", "-o", "r.html"), "source 'nowhere.json': there is no such file; check the name."),
        (("anser.json", "-o", "r.html"), "source 'anser.json': there is no such file. Did you mean 'answer.json'?"),
        (("bells.toml", "-o", "r.html"), "source 'bells.study': there is no such file; check the name."),
        (
            ("answer.json", "-o", "r.html", "--over", "his"),
            "sweeps: no row has the channel 'his'. There are: hiss:level_",
        ),
        (
            ("answer.json", "-o", "r.html", "--plot", "s.png", "--sweeps", "0"),
            "--plot draws the sweeps; leave out --sw",
        ),
        (
            ("answer.json", "-o", "r.html", "--over", "all", "--sweeps", "0"),
            "--over is about the sweeps; leave out --sw",
        ),
        (("answer.json", "-o", "answer.json"), "output 'answer.json' exists; --force overwrites it."),
        (("answer.json", "-o", "answer.json", "--force"), "output 'answer.json' is the input itself"),
        (("answer.json", "-o", "r.html", "--sweeps", "-1"), "'sweeps' must be 0 to 10000, not -1"),
        (("answer.json", "-o", "r.html", "--workers", "0"), "'workers' must be 1 to 1024, not 0"),
        (("answer.json", "-o", "r.html", "--plot", "r.gif"), "picture 'r.gif' must end in .png or .svg."),
        (("answer.json",), "Missing option '--output'"),
    ],
)
def test_a_wrong_call_writes_nothing(arguments, says, shell, answer, tmp_path):
    told = shell("report", *arguments)
    assert told.code == 2
    assert says in told.complaint
    assert [path.name for path in tmp_path.iterdir()] == ["answer.json"]


@pytest.mark.parametrize("sweeps", ["3", "-1"])
def test_sweeps_without_a_page_are_refused(sweeps, shell):
    told = shell("compare", *QUICK, "--sweeps", sweeps)
    assert (told.code, told.out) == (2, "")
    assert told.complaint == "compare: --sweeps is about the page; name one with --report FILE.html, or leave it out."


def test_an_answer_is_not_lost_to_a_picture_that_cannot_be_written(shell, monkeypatch, tmp_path):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(frontier_picture, "save_frontier", full)
    told = shell("compare", *QUICK, "--plot", "f.png")
    assert told.code == 1
    assert (
        told.complaint == "output 'f.png' cannot be written: No space left on device; make room or name another place."
    )
    assert told.out == shell("compare", *QUICK).out
    assert not list(tmp_path.iterdir())


def test_a_picture_of_nothing_is_refused_before_any_tape_is_played_again(shell, tmp_path):
    told = shell("compare", "--codec", "telegraph", "--channel", "wire", "--trials", "1", "--json")
    (tmp_path / "answer.json").write_text(told.out)
    told = shell("report", "answer.json", "-o", "r.html", "--plot", "s.png")
    assert told.code == 2
    assert told.complaint == "report: --plot draws the sweeps, and no figure of wire can be turned; leave it out."
    assert [path.name for path in tmp_path.iterdir()] == ["answer.json"]


def test_other_channels_are_swept_on_request(shell, tmp_path):
    told = shell("compare", "--codec", "telegraph", "--channel", "hiss", "--channel", "hum", "--trials", "1", "--json")
    (tmp_path / "answer.json").write_text(told.out)
    swept = {}
    for over in (("--over", "hum"), ("--over", "all")):
        told = shell("report", "answer.json", "-o", "r.html", "--sweeps", "1", "--force", *over, "--json")
        assert told.code == 0, told.err
        swept[over[1:]] = ["sweeps" in entry for entry in json.loads(told.out)]
    assert swept == {("hum",): [False, True], ("all",): [True, True]}


def test_picture_and_page_never_share_a_file(shell, tmp_path):
    told = shell("compare", *QUICK, "--plot", "a.png", "--report", "a.png")
    assert told.code == 2
    assert "must be named .html" in told.err
    assert not (tmp_path / "a.png").exists()


def test_without_the_plotting_library_it_says_what_brings_it(shell, answer, monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    for call in (("report", "answer.json", "-o", "r.html"), ("compare", *QUICK, "--report", "r.html")):
        told = shell(*call)
        assert told.code == 1
        assert told.complaint == "a report needs plotly; pip install 'tapewright[report]' brings it."
    assert not (tmp_path / "r.html").exists()


def test_decode_draws_what_it_heard(shell, tmp_path):
    assert shell("encode", chime.NAME, "-o", "tape.wav", "--codec", "telegraph").code == 0
    assert shell("decode", "tape.wav", "--expect", chime.NAME, "--plot", "heard.png").code == 0
    assert (tmp_path / "heard.png").read_bytes().startswith(b"\x89PNG")
    told = shell("decode", "tape.wav", "--plot", "heard.png")
    assert (told.code, told.complaint) == (2, "output 'heard.png' exists; --force overwrites it.")
