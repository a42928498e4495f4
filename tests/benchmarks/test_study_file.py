"""Study files: what they ask for, and what is said of those that ask for something else."""

import textwrap

import pytest
from tapewright.benchmarks import study as defaults
from tapewright.benchmarks import study_file
from tapewright.benchmarks.study_file import read_study_file
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.files.programs import read_program


@pytest.fixture
def read(tmp_path):
    def read(text: str):
        path = tmp_path / "bells.toml"
        path.write_text(textwrap.dedent(text))
        return read_study_file(path)

    return read


def test_an_empty_table_asks_for_what_a_comparison_takes(read) -> None:
    (study,) = read("[study]\n").studies
    assert (study.program, study.program_name) == (read_program("chime").data, "chime")
    assert study.codecs == tuple(registry.codec(spec).spec for spec in defaults.DEFAULT_CODECS)
    assert study.channels == tuple(registry.channel(spec).spec for spec in defaults.DEFAULT_CHANNELS)
    assert (study.trials, study.seed) == (defaults.DEFAULT_TRIALS, defaults.DEFAULT_SEED)


def test_everything_is_taken_as_it_is_written(read, tmp_path) -> None:
    (tmp_path / "tower").mkdir()
    (tmp_path / "tower" / "bells.bin").write_bytes(b"ding dong")
    (tmp_path / "mine.toml").write_text('spec = "plain-biphase"\n')
    asked = read(
        """
        [study]
        program = ["chime", "tower/bells.bin"]
        bytes = [16, 300]
        codecs = ["@mine.toml", "sturdy"]
        receivers = ["sound", "relays"]
        channels = ["wire"]
        trials = 7
        seed = 3
        """
    )
    assert [study.program_name for study in asked.studies] == [
        "chime",
        "bells.bin",
        "16 invented bytes",
        "300 invented bytes",
    ]
    assert [len(study.program) for study in asked.studies] == [128, 9, 16, 300]
    assert {(study.trials, study.seed) for study in asked.studies} == {(7, 3)}
    assert asked.names["codec", registry.codec("plain-biphase").spec] == "@mine.toml"
    assert asked.names["receiver", registry.receiver("relays").spec] == "relays"
    assert asked.names["channel", "wire"] == "wire"


def test_invented_programs_follow_from_the_seed(read) -> None:
    first, again, other = (read(f"[study]\nbytes = 64\nseed = {seed}\n").studies[0].program for seed in (1, 1, 2))
    assert first == again != other


def test_programs_of_one_name_are_told_apart_by_their_folders(read, tmp_path) -> None:
    for folder, content in (("d1", b"ding"), ("d2", b"dong"), ("d3", b"bim")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / ("y.bin" if folder == "d3" else "x.bin")).write_bytes(content)
    (tmp_path / "chime").write_bytes(b"bam")
    asked = read('[study]\nprogram = ["d1/x.bin", "d2/x.bin", "d3/y.bin", "./chime", "chime"]\n')
    assert {study.program_name: study.program for study in asked.studies} == {
        "d1/x.bin": b"ding",
        "d2/x.bin": b"dong",
        "y.bin": b"bim",
        "./chime": b"bam",
        "chime": read_program("chime").data,
    }


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ("program = ['d1/x.bin', 'd2/y.bin']", "program: 'd1/x.bin' and 'd2/y.bin' hold the same bytes; name each"),
        ("program = ['d1/x.bin', './d1/x.bin']", "program: 'd1/x.bin' and './d1/x.bin' hold the same bytes; name each"),
        ("bytes = [8, 8]", "'8 invented bytes' and '8 invented bytes' hold the same bytes; name each program once."),
        ("bytes = 8\nprogram = '8 invented bytes'", "two programs are called '8 invented bytes'; rename the file."),
    ],
)
def test_programs_that_cannot_be_told_apart_are_named(read, tmp_path, asked, told) -> None:
    for path in ("d1/x.bin", "d2/y.bin", "8 invented bytes"):
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_bytes(b"ding")
    with pytest.raises(UsageError) as failure:
        read(f"[study]\n{asked}\n")
    assert told in str(failure.value)


def test_many_sweeps_share_the_room_of_one(read, monkeypatch) -> None:
    sweep = '[[sweep]]\ncodec = "plain-biphase"\nover = { "biphase.leader_s" = { steps = %d } }\n'
    monkeypatch.setattr(study_file, "MOST_ROWS", 10)
    assert len(read(sweep % 4 + sweep % 6 + '[study]\nchannels = ["wire"]\n').studies[0].codecs) == 8
    with pytest.raises(UsageError, match=r"'biphase.leader_s' have 7 points together, and a study has room for 6\."):
        read(sweep % 4 + sweep % 7)


def test_a_sweep_takes_the_place_of_the_default_codecs_and_crosses_itself_once(read) -> None:
    asked = read(
        """
        [[sweep]]
        codec = "plain-biphase"
        over = { "biphase.bit_rate_hz" = [1200, 2400] }
        [[sweep]]
        codec = "plain-biphase"
        over = { "biphase.leader_s" = [1, 2] }
        """
    )
    assert [asked.names["codec", spec] for spec in asked.studies[0].codecs] == [
        "contents/biphase:bit_rate_hz=1200",
        "contents/biphase:bit_rate_hz=2400",
        "contents/biphase:leader_s=2",
    ]
    assert len(asked.studies[0].channels) == 4


def test_what_a_file_stands_for_can_be_swept(read, tmp_path) -> None:
    (tmp_path / "deck.toml").write_text('spec = "hiss:level_db=-44"\n')
    asked = read('[[sweep]]\nchannel = "@deck.toml"\nover = { "hiss.level_db" = [-40] }\n')
    assert asked.studies[0].channels == (registry.channel("hiss:level_db=-40").spec,)


def test_a_relay_set_is_looked_for_beside_the_study(read, tmp_path) -> None:
    from importlib.resources import files

    ready = files("tapewright.receivers.relays").joinpath("sets/signal_12v.toml").read_bytes()
    (tmp_path / "ours.toml").write_bytes(ready)
    asked = read('[study]\nreceivers = ["relays:set=\\"ours.toml\\""]\n')
    (spec,) = asked.studies[0].receivers
    assert str(tmp_path / "ours.toml") in spec
    assert asked.names["receiver", spec] == 'relays:set="ours.toml"'


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[studie]\n", "the file has no 'studie'. Did you mean 'study'? There are: study, sweep."),
        (
            "[study]\ntrails = 5\n",
            "[study] has no 'trails'. Did you mean 'trials'? There are: program, bytes, codecs, receivers",
        ),
        (
            '[[sweep]]\ncodec = "sturdy"\nkey = 1\n',
            "[[sweep]] has no 'key'. There are: codec, receiver, channel, over.",
        ),
        ('[[sweep]]\nover = { "rs.parity_bytes" = [2] }\n', "needs one spec"),
        ('[[sweep]]\ncodec = "sturdy"\n', "needs over = "),
        ('[[sweep]]\ncodec = "sturdy"\nover = { "rs.parity" = [2] }\n', "sweep: there is no 'rs.parity' in that codec"),
        ("[study]\ncodecs = []\n", "'codecs' must be a list of specs"),
        ("[study]\ncodecs = 'sturdy'\n", "'codecs' must be a list of specs"),
        ("[study]\ncodecs = ['sturdi']\n", "Did you mean 'sturdy'?"),
        ("[study]\ncodecs = ['biphase', 'biphase:bit_rate_hz=1200']\n", "are the same; name each codec once"),
        ("[study]\ntrials = " + "9" * 5000, "a whole number in it has too many digits; it must fit 64 bits."),
        ("[study]\ntrials = 0x" + "f" * 6000, "'study.trials' must fit 64 bits, as whole numbers in TOML do."),
        ("[study]\nseed = 0x" + "f" * 6000, "'study.seed' must fit 64 bits, as whole numbers in TOML do."),
        (
            "[[sweep]]\ncodec = 'sturdy'\nover = { 'rs.parity_bytes' = { from = " + "9" * 400 + ", steps = 3 } }\n",
            "'sweep.over.rs.parity_bytes.from' must fit 64 bits, as whole numbers in TOML do.",
        ),
        ("[study]\ntrials = 0\n", "'trials' must be a whole number, 1 to 1000000, not 0."),
        ("[study]\nseed = 1.5\n", "'seed' must be a whole number"),
        ("[study]\nbytes = 0\n", "'bytes' must be 1 to"),
        ("[study]\nprogram = 5\n", "'program' must be a file's name"),
        ("[study]\nprogram = 'nowhere.bin'\n", "there is no such file"),
        ("[study]\ncodecs = ['@nowhere.toml']\n", "there is no such file"),
        ("", "is empty; it must hold a table, such as the lines '[study]' and 'trials = 40'."),
        ("study = 3\n", "'study' must be a table"),
        ("sweep = 3\n", "'sweep' must be tables"),
        ("[study\n", "is not TOML"),
    ],
)
def test_a_wrong_file_says_what_would_be_right(read, text, told) -> None:
    with pytest.raises(UsageError) as failure:
        read(text)
    assert str(failure.value).startswith("study '")
    assert told in str(failure.value)
    assert "\n" not in str(failure.value)


def test_a_file_that_is_not_there(tmp_path) -> None:
    with pytest.raises(UsageError, match="there is no such file"):
        read_study_file(tmp_path / "bells.toml")
