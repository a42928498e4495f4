"""Files that the user names: what is said when they cannot be read, and what to do."""

import os
from pathlib import Path

import pytest
from tapewright.contracts.errors import UsageError
from tapewright.contracts.named_file import content_of, opened, toml_in


def said(path: Path, most_bytes: int = 100) -> str:
    with pytest.raises(UsageError) as raised:
        toml_in(path, "study", most_bytes)
    return str(raised.value)


def test_what_is_there_is_read(tmp_path: Path) -> None:
    (tmp_path / "bells.toml").write_bytes(b"trials = 3\n")
    assert content_of(tmp_path / "bells.toml", "study", 11) == b"trials = 3\n"
    assert toml_in(tmp_path / "bells.toml", "study", 11) == {"trials": 3}


def test_a_missing_file_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert said(Path("bells.toml")) == "study 'bells.toml': there is no such file; check the name."
    with pytest.raises(UsageError, match=r"there is no such file; make one\."), opened(Path("x"), "study", "make one"):
        pass


def test_the_nearest_file_is_offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("far.toml").touch()
    Path(".bell.toml").touch()  # nobody means a hidden one
    assert said(Path("bell.toml")).endswith("there is no such file; check the name.")
    Path("bells.toml").touch()
    assert said(Path("bell.toml")) == "study 'bell.toml': there is no such file. Did you mean 'bells.toml'?"
    Path("bell.hex").touch()
    assert said(Path("bell.toml")).endswith("Did you mean 'bell.hex'?")


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    assert said(tmp_path / "tower" / "bells.toml").endswith(f": there is no folder '{tmp_path / 'tower'}'.")


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe\x00", "is not TOML: it is not text."),
        (b"trials = ", "is not TOML: Invalid value (at end of document)."),
        (b"a = " + b"[" * 50_000, "is not TOML: its brackets are nested too deep."),
        (b"#" * 60_001, "must be at most 60000 bytes."),
        (b"a = " + b"9" * 5000, "a whole number in it has too many digits; it must fit 64 bits."),
        (b"a = 0x" + b"f" * 6000, "'a' must fit 64 bits, as whole numbers in TOML do."),
        (b"a = 9223372036854775808", "'a' must fit 64 bits, as whole numbers in TOML do."),
        (b".".join([b"a"] * 20_000) + b" = 1", "its names may be at most 100 deep, as in 'a.b.c', which are three."),
        (b"[a]\nb = [[1], [{ c = -9223372036854775809 }]]", "'a.b.c' must fit 64 bits, as whole numbers in TOML do."),
    ],
)
def test_what_is_no_toml_is_one_line(content: bytes, says: str, tmp_path: Path) -> None:
    (tmp_path / "bells.toml").write_bytes(content)
    told = said(tmp_path / "bells.toml", 60_000)
    assert told.endswith(says)
    assert "\n" not in told


def test_whole_numbers_of_64_bits_and_deep_names_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "bells.toml"
    path.write_text("most = 9223372036854775807\nleast = -9223372036854775808\nyes = true\nday = 1979-05-27\n")
    assert [toml_in(path, "study", 100)[key] for key in ("most", "least")] == [2**63 - 1, -(2**63)]
    path.write_text(".".join("a" * 100) + " = 1\n")
    assert list(toml_in(path, "study", 1000)) == ["a"]


def test_folders_and_impossible_names_are_one_line(tmp_path: Path) -> None:
    assert said(tmp_path) == f"study '{tmp_path}' is a folder; a file is needed."
    assert said(Path("a\0b")).startswith("study 'a?b' cannot be read: embedded null byte")
    assert said(Path("x" * 5000)).endswith("cannot be read: File name too long; name a file that can be.")
    assert said(Path("/dev/zero")) == "study '/dev/zero' must be at most 100 bytes."


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read whatever he likes")
def test_a_file_that_may_not_be_read_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "bells.toml").touch(0o000)
    assert "cannot be read: Permission denied; name a file that can be." in said(tmp_path / "bells.toml")
