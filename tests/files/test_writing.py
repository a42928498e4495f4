"""Files appear whole or not at all, and nothing is overwritten unless asked."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from tapewright.contracts.errors import TapewrightError, UsageError
from tapewright.files.writing import check_output, whole_file


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def write(path: Path, content: bytes) -> None:
    with whole_file(path, force=False) as part:
        part.write_bytes(content)


def test_a_file_appears_with_its_content(tmp_path: Path) -> None:
    with whole_file(tmp_path / "a", force=False) as part:
        part.write_bytes(b"new")
        assert names(tmp_path) == [part.name]
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_bytes() == b"new"


def test_a_new_file_gets_the_permissions_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    with whole_file(tmp_path / "a", force=False) as part:
        part.write_bytes(b"")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_force_overwrites_and_keeps_the_permissions(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "a").chmod(0o640)
    with whole_file(tmp_path / "a", force=True) as part:
        part.write_bytes(b"new")
        assert (tmp_path / "a").read_bytes() == b"old"
    assert (tmp_path / "a").read_bytes() == b"new"
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_force_through_a_link_keeps_the_link(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    (tmp_path / "link").symlink_to("a")
    with whole_file(tmp_path / "link", force=True) as part:
        part.write_bytes(b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "a").read_bytes() == b"new"


@pytest.mark.parametrize("interruption", [KeyboardInterrupt, ValueError, SystemExit])
def test_an_interruption_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, interruption: type[BaseException]
) -> None:
    (tmp_path / "a").write_bytes(b"old")

    def write_half() -> None:
        with whole_file(tmp_path / "a", force=True) as part:
            part.write_bytes(b"half")
            raise interruption

    with pytest.raises(interruption):
        write_half()
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_bytes() == b"old"


def test_a_full_disk_is_one_line_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    says = r"^output '.*a' cannot be written: No space left on device; make room or name another place\.$"
    with pytest.raises(TapewrightError, match=says) as raised:
        write(tmp_path / "a", b"new")
    assert raised.value.exit_code == 1
    assert names(tmp_path) == []


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_came_meanwhile_is_not_overwritten(
    links: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some disks know no file of two names; there the file only moves."""

    def unknown(*names: Path) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    if not links:
        monkeypatch.setattr(os, "link", unknown)
    write(tmp_path / "b", b"alone")
    assert names(tmp_path) == ["b"]

    def write_slowly() -> None:
        with whole_file(tmp_path / "a", force=False) as part:
            part.write_bytes(b"new")
            (tmp_path / "a").write_bytes(b"someone else's")

    with pytest.raises(UsageError, match="has come into being meanwhile; --force"):
        write_slowly()
    assert names(tmp_path) == ["a", "b"]
    assert (tmp_path / "a").read_bytes() == b"someone else's"


def test_the_check_leaves_nothing_behind(tmp_path: Path) -> None:
    check_output(tmp_path / "a", force=False)
    assert names(tmp_path) == []


def test_an_existing_file_needs_force(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(UsageError, match=r"^output '.*a' exists; --force overwrites it\.$"):
        check_output(tmp_path / "a", force=False)
    check_output(tmp_path / "a", force=True)


def test_a_missing_folder_a_file_as_folder_and_a_folder_as_file_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(UsageError, match=r"there is no folder '.*nowhere'"):
        check_output(tmp_path / "nowhere" / "b", force=True)
    with pytest.raises(UsageError, match=r"'.*a' is not a folder"):
        check_output(tmp_path / "a" / "b", force=True)
    with pytest.raises(UsageError, match="is a folder; a file name is needed"):
        check_output(tmp_path, force=True)
    with pytest.raises(UsageError, match="'/dev/null' is not an ordinary file"):
        check_output(Path("/dev/null"), force=True)
    assert (tmp_path / "a").read_bytes() == b"old"


def test_a_folder_that_takes_no_files_is_refused_even_to_the_superuser() -> None:
    # /proc says that its owner may write, and does not let anybody: only trying tells.
    with pytest.raises(TapewrightError, match=r"^output '/proc/b' cannot be written: ") as raised:
        check_output(Path("/proc/b"), force=False)
    assert raised.value.exit_code == 1


@pytest.mark.parametrize("name", ["x" * 300, "a\0b"])
def test_impossible_names_are_one_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(TapewrightError) as raised, whole_file(tmp_path / name, force=False) as part:
        part.write_bytes(b"")
    assert "\n" not in str(raised.value)
    assert names(tmp_path) == []
