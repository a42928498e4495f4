"""What follows a choice, written at once into one folder: whole or not at all."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..benchmarks.limits import Limits
    from ..benchmarks.verdict import Choice
    from ..files.programs import Program

RECORDING, LABEL, ANSWER, STUDY, REPORT, SHEET = (
    "recording.wav",
    "label.txt",
    "choice.json",
    "study.toml",
    "report.html",
    "sheet.html",
)
PROGRAM = "program.bin"
TABLES = ("schedule.csv", "tape_tables.h", "tape_tables.c")
BESIDE = {"relay_set.toml": "relay_set", "relay_table.toml": "table"}
"""Copies of the files that a relay decoder was chosen with, and the limits that name them."""

SWEEP_TAPES = 10
"""Of the report, at each setting of each knob."""


def check_next(folder: Path, limits: Limits, force: bool) -> None:
    """Refuse, before any long work, a folder that could not be filled or written.

    Raises:
        UsageError, TapewrightError: as ``check_folder`` and ``plotting_script``.
    """
    from ..files.folder_writing import check_folder
    from ..reports.report_page import plotting_script

    plotting_script()
    check_folder(folder, _all_names(limits), force)


def write_next(choice: Choice, source: Program, folder: Path, force: bool) -> None:
    """The recording with its label, the answer, the study file, the report, and what builds or plays it."""
    from ..benchmarks.choice_record import as_json
    from ..contracts.codec import FORMAT_VERSION
    from ..files.folder_writing import whole_folder
    from ..files.label import Label
    from ..files.recordings import write_recording

    winner = choice.shown[0]
    codec = winner.candidate.codec
    label = Label.of(source.name, source.data, codec.spec, FORMAT_VERSION, source.origin)
    names = _names(choice)
    with whole_folder(folder, names, force) as part:
        write_recording(part / RECORDING, codec.encode(source.data), depth="16", label=label, force=False)
        (part / LABEL).write_text(label.to_text(winner.candidate.tape_s) + "\n", encoding="utf-8", newline="\n")
        record = as_json(choice)
        (part / ANSWER).write_text(json.dumps(record, indent=2, allow_nan=False) + "\n", encoding="utf-8")
        (part / PROGRAM).write_bytes(source.data)
        for name, path in _own_files(choice.limits).items():
            (part / name).write_bytes(Path(path).read_bytes())
        (part / STUDY).write_text(_study(choice), encoding="utf-8", newline="\n")
        if set(TABLES) <= set(names):
            _write_tables(choice, label.to_text(winner.candidate.tape_s), source, part)
        if SHEET in names:
            (part / SHEET).write_text(_sheet(choice), encoding="utf-8", newline="\n")
        _write_report(choice, source, record, part)


def _study(choice: Choice) -> str:
    """The formats that are shown, on the tapes of the final of the recommended one."""
    winner = choice.shown[0]
    copies: dict[str, Any] = {BESIDE[name]: name for name in _own_files(choice.limits)}
    limits = replace(choice.limits, **copies)
    lines = (
        "[study]",
        f"program = {json.dumps(PROGRAM)}",
        f"codecs = {json.dumps([one.candidate.short for one in choice.shown], indent=2)}",
        f"receivers = [{json.dumps(limits.receiver)}]",
        f"channels = [{json.dumps(choice.course.channel)}]",
        f"trials = {winner.final.tapes}",
        f"seed = {choice.course.seed_of('final', winner.number)}  # of the first one's final; the others had their own",
    )
    return "\n".join(lines) + "\n"


def _own_files(limits: Limits) -> dict[str, str]:
    """Relay set and table that are files of the person's: what they are called beside the study, and where they are."""
    if limits.decoder != "relays":
        return {}
    paths = {name: getattr(limits, limit) for name, limit in BESIDE.items()}
    return {name: path for name, path in paths.items() if path.endswith(".toml")}


def _all_names(limits: Limits) -> tuple[str, ...]:
    from ..reports.player_tables import PLAYER_FILES

    sheet = (SHEET,) if limits.decoder == "relays" else ()
    return (RECORDING, LABEL, ANSWER, PROGRAM, STUDY, REPORT, *_own_files(limits), *sheet, *TABLES, *PLAYER_FILES)


def _names(choice: Choice) -> tuple[str, ...]:
    """Those of ``_all_names`` that this choice fills: a code that no pins can play has no tables."""
    from ..contracts.switching import Levelled, Toned
    from ..reports.player_tables import PLAYER_FILES

    code = choice.shown[0].candidate.codec.line_code
    without = () if isinstance(code, Toned | Levelled) else (*TABLES, *PLAYER_FILES)
    return tuple(name for name in _all_names(choice.limits) if name not in without)


def _write_tables(choice: Choice, label: str, source: Program, part: Path) -> None:
    from ..reports.player_tables import PLAYER_FILES, player_source, table_header, table_source
    from ..reports.pulse_schedule import pulse_schedule

    codec = choice.shown[0].candidate.codec
    schedule = pulse_schedule(codec.line_code, codec.line_bits(source.data))
    with (part / TABLES[0]).open("w", encoding="ascii", newline="") as file:
        schedule.write_csv(file)
    (part / TABLES[1]).write_text(table_header(schedule), encoding="ascii", newline="\n")
    with (part / TABLES[2]).open("w", encoding="ascii", newline="\n") as file:
        file.writelines(table_source(schedule, label.splitlines()))
    for name in PLAYER_FILES:
        (part / name).write_text(player_source(name), encoding="ascii", newline="\n")


def _write_report(choice: Choice, source: Program, record: dict[str, object], part: Path) -> None:
    from .report_writing import Reported, typed, write_report

    rows = record["rows"]
    verdict = record["sentences"]
    assert isinstance(rows, list)
    assert isinstance(verdict, list)
    reported = Reported(rows, (source.data,), tuple(verdict), typed())
    write_report(reported, part / REPORT, SWEEP_TAPES, workers=choice.course.workers)


def _sheet(choice: Choice) -> str:
    from ..reports.build_sheet import build_sheet
    from .sheet_record import sheet_record

    winner = choice.shown[0]
    study = choice.course.study((winner.candidate,), winner.final.tapes, "final", winner.number)
    (task,) = study.tasks()
    return build_sheet(sheet_record(study, task, winner.tally))
