"""Pages that are made, not written: every command's help, every plug-in, every module's own text.

They go to ``docs/generated``, anew for each build, and are never committed.
"""

from __future__ import annotations

import inspect
from importlib import import_module
from pathlib import Path
from typing import Any

import typer.main
from tapewright.commands.application import application
from tapewright.contracts import registry
from tapewright.reports.catalogue import catalogue

KINDS = {
    "line code": ("line_codes", "Line codes", "Bits to audio and back."),
    "layer": ("layers", "Layers", "Bits to other bits and back: checks, correction, framing, spreading."),
    "channel model": ("channel_models", "Channel models", "One physical effect each, in the order of the physics."),
    "receiver": ("receivers", "Receivers", "Who listens."),
}
"""Role of a plug-in in the catalogue: its page, the page's title and first line."""

MODULES = {
    "vocabulary": ("The vocabulary", "contracts", (
        "signal", "soft_bits", "decoded", "bits", "parameters", "plug_in", "line_code", "layer", "codec", "joints",
        "bearable", "merging", "play", "keying", "switching", "channel_model", "eventful", "receiver", "relay_cost",
        "preset", "spec", "registry", "streams", "profile_rules", "named_file", "errors",
    )),
    "conformance": ("The conformance kit", "contracts.conformance", (
        "kit", "check", "description", "line_code", "layer", "codec", "channel_model", "receiver", "probes",
    )),
    "running_studies": ("Running studies", "benchmarks", (
        "study", "trials", "tally", "statistics", "frontier", "records", "rows", "findings", "capacity", "probe",
        "strength", "shelf", "forecast",
    )),
    "kept_studies": ("Studies that are kept", "benchmarks", (
        "study_file", "sweep", "plan", "stored_study", "identity", "store", "sqlite_file", "ledger", "lacking", "scout",
        "merge", "carried_files",
    )),
    "many_workers": ("Engines and clusters", "benchmarks", ("engines", "cluster", "orders")),
    "choice": ("The choice", "benchmarks", (
        "limits", "limits_file", "payload", "deck", "choice", "candidates", "schemes", "variation", "course", "racing",
        "final", "refusals", "reasons", "figures", "assumptions", "verdict", "choice_record",
    )),
    "rare_failures": ("Rare failures", "benchmarks", ("rare", "aiming", "struck", "weighted")),
    "evidence": ("Behind the report", "benchmarks", (
        "answer_file", "evidence", "replay", "bit_trace", "excerpt", "shape", "anatomy", "causes", "knob",
    )),
    "files": ("Files", "files", (
        "programs", "records", "chime", "recordings", "wav_header", "clip", "label", "writing", "folder_writing",
    )),
    "measuring": ("Measuring a deck", "measurement", (
        "measuring", "layout", "capture_summary", "carrier_losses", "flutter_meter", "mechanics", "tone", "figures",
        "collected", "profile", "channel_spec",
    )),
}  # fmt: skip
"""Pages made from docstrings: the page, its title, the package and its modules in the order in which they are read.

A module of them that is listed nowhere comes last on the last page of its package.
"""
WHOLE = ("contracts", "contracts.conformance", "benchmarks", "files")
"""Packages of which no module is left out."""


def setup(app: Any) -> dict[str, bool]:
    app.connect("builder-inited", lambda app: write_pages(Path(app.srcdir) / "generated"))
    words = _Words()
    app.connect("autodoc-process-docstring", words.keep, priority=400)  # napoleon's own is 500
    app.connect("autodoc-process-docstring", words.give_back, priority=600)
    return {"parallel_read_safe": True}


class _Words:
    """What is said of a constant or a property, kept as it stands: napoleon takes all before a colon for its type."""

    KINDS = ("attribute", "data", "property")

    def keep(self, app: Any, kind: str, name: str, made: Any, options: Any, lines: list[str]) -> None:
        self.kept = list(lines)

    def give_back(self, app: Any, kind: str, name: str, made: Any, options: Any, lines: list[str]) -> None:
        if kind in self.KINDS:
            lines[:] = self.kept


def write_pages(folder: Path) -> None:
    """Write every made page into ``folder``."""
    folder.mkdir(exist_ok=True)
    pages = {"commands": _commands(), "ready_stacks": _presets("codec"), "grades": _presets("channel")}
    pages |= {page: _plug_ins(role) for role, (page, _, _) in KINDS.items()}
    pages |= {page: _modules(*listed) for page, listed in _all_modules().items()}
    for name, text in pages.items():
        (folder / f"{name}.md").write_text(text, encoding="utf-8")


def _commands() -> str:
    parts = ["# Commands", "What `tapewright COMMAND --help` says."]
    parts += _help(typer.main.get_command(application()), "tapewright", None)
    return "\n\n".join(parts) + "\n"


def _help(command: Any, name: str, above: Any) -> list[str]:
    context = command.make_context(name.split()[-1], [], parent=above, resilient_parsing=True)
    context.info_name, context.terminal_width, context.max_content_width = name.split()[-1], 84, 84
    parts = [f"## {name}" if above else "## tapewright", f"```text\n{command.get_help(context)}\n```"]
    for below, inner in getattr(command, "commands", {}).items():
        parts += _help(inner, f"{name} {below}", context)
    return parts


def _plug_ins(role: str) -> str:
    _, title, first = KINDS[role]
    parts = [f"# {title}", first]
    for entry in sorted(catalogue(), key=lambda entry: str(entry["name"])):
        if entry["role"] == role and entry["package"] == "tapewright":
            parts += _plug_in(entry)
    return "\n\n".join(parts) + "\n"


def _plug_in(entry: dict[str, Any]) -> list[str]:
    made = registry.installed(entry["kind"]).load(entry["name"])
    module = import_module(made.__module__)
    parts = [f"## {entry['name']}", f"{entry['summary']}"]
    if entry.get("needs"):
        parts.append(f"Decoded by: {entry['needs']}.")
    told = [f"```{{eval-rst}}\n{_text(part)}\n```" for part in (module, made) if _text(part)]
    parts += told
    if entry["parameters"]:
        rows = [
            f"| `{one['name']}` | {one['default']} | {_cell(one['range'])} | {_cell(one['help'])} |"
            for one in entry["parameters"]
        ]
        parts.append("\n".join(("| parameter | default | range | |", "|---|---|---|---|", *rows)))
    return parts


def _text(part: Any) -> str:
    return inspect.cleandoc(part.__doc__ or "")


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ").replace("<", "&lt;")


def _presets(kind: str) -> str:
    title = "Ready stacks" if kind == "codec" else "Grades"
    parts = [f"# {title}", "A preset's name, with its hyphen, stands for a whole spec."]
    for entry in sorted(catalogue(), key=lambda entry: str(entry["name"])):
        if entry["kind"] == kind and entry["role"] == "preset":
            parts += [f"## {entry['name']}", str(entry["summary"]), f"```text\n{_broken(str(entry['spec']))}\n```"]
    return "\n\n".join(parts) + "\n"


def _broken(spec: str) -> str:
    return spec.replace("/", "\n/")


def _all_modules() -> dict[str, tuple[str, str, tuple[str, ...]]]:
    """``MODULES``, with what it forgets of the packages that are shown whole."""
    pages = dict(MODULES)
    for package in WHOLE:
        of_it = [page for page, (_, home, _) in MODULES.items() if home == package]
        listed = {name for page in of_it for name in MODULES[page][2]}
        folder = Path(str(import_module(f"tapewright.{package}").__file__)).parent
        names = sorted(path.stem for path in folder.glob("*.py") if path.stem != "__init__")
        title, _, shown = MODULES[of_it[-1]]
        pages[of_it[-1]] = (title, package, (*shown, *(name for name in names if name not in listed)))
    return pages


def _modules(title: str, package: str, modules: tuple[str, ...]) -> str:
    parts = [f"# {title}"]
    for name in modules:
        parts += [f"## {name}", f"```{{eval-rst}}\n.. automodule:: tapewright.{package}.{name}\n```"]
    return "\n\n".join(parts) + "\n"
