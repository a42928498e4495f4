"""Writes the golden tape of each ready codec: ``NAME-vVERSION.flac`` and ``NAME-vVERSION.json``, once and for ever.

    python tests/golden/write_golden.py [NAME...]

The recording is 16-bit FLAC at 44,100 Hz; the JSON beside it holds the spec with every default written out, the
payload in hexadecimal and the format version. A tape that exists is never written again: a change that cannot read it
is a change of the format, which gets a new version and a new tape, while the old one must still decode.
"""

import json
import sys
from pathlib import Path

import soundfile
import tapewright
from tapewright.contracts.codec import FORMAT_VERSION
from tapewright.contracts.preset import Preset
from tapewright.contracts.registry import installed

PAYLOAD = b"Noon: twelve strokes, then the hour bell rests until one o'clock.\x00\xff"
LONGEST_S = 8.0


def ready_codecs() -> list[str]:
    """The names of the ready stacks that this project registers."""
    registry = installed("codec")
    return [
        name
        for name in registry.names()
        if registry.package(name) == "tapewright" and isinstance(registry.load(name), Preset)
    ]


def write(name: str, folder: Path) -> Path:
    """Writes the golden tape of the codec called ``name`` and returns its JSON file.

    Raises:
        FileExistsError: the tape is there already.
    """
    codec = tapewright.codec(name)
    size = next((size for size in (len(PAYLOAD), 24, 8) if codec.duration_s(size) <= LONGEST_S), 2)
    tape = codec.encode(PAYLOAD[-size:])
    told = {"name": name, "format_version": FORMAT_VERSION, "spec": codec.spec, "payload": PAYLOAD[-size:].hex()}
    label = folder / f"{name}-v{FORMAT_VERSION}.json"
    sound = label.with_suffix(".flac")
    for path in (label, sound):
        if path.exists():
            raise FileExistsError(f"{path} exists, and a golden tape is written once.")
    soundfile.write(sound, tape.samples.T, tape.sample_rate_hz, subtype="PCM_16", format="FLAC")
    label.write_text(json.dumps(told, indent=2) + "\n", encoding="utf-8")
    return label


def main(names: list[str], folder: Path) -> None:
    """Writes the tapes called ``names``, or of each ready codec that has none of this version yet."""
    missing = [name for name in ready_codecs() if not (folder / f"{name}-v{FORMAT_VERSION}.json").exists()]
    for name in names or missing:
        print(write(name, folder))


if __name__ == "__main__":
    main(sys.argv[1:], Path(__file__).parent)
