"""The report: one self-contained page that opens in any browser without a network, and prints.

All that it shows stands in the page: the rows as a table that needs no script, and, for the script that draws, the same
rows as data with the library that plots them. The page's own rule forbids whoever shows it to fetch anything. Names
come from strangers' files: in the markup they are escaped, in the data no ``<`` is left, and the script writes text.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from importlib import resources
from typing import Any

from ..contracts.errors import TapewrightError
from .frontier_picture import COLOURS
from .report_method import method_section
from .report_summary import summary_section, title
from .report_table import table_section

LIMITED = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; media-src data:"
)
"""The page's own rule for whoever shows it: nothing is fetched."""

SCRIPTS = ("parts.js", "frontier.js", "waveform.js", "pinned.js", "sweeps.js", "table.js", "start.js")


def plotting_script() -> str:
    """The library that plots, as it is put into every page.

    Raises:
        TapewrightError: it is not installed.
    """
    try:
        from plotly.offline import get_plotlyjs
    except ImportError as error:
        raise TapewrightError("a report needs plotly; pip install 'tapewright[report]' brings it.") from error
    script: str = get_plotlyjs()
    return script


def report_page(record: Mapping[str, Any]) -> str:
    """The page.

    Args:
        record: ``rows`` as ``Record.as_json`` writes them; ``evidence``, one entry a row, as ``benchmarks.evidence``
            makes it; ``verdict``, sentences of a choice, may be empty; ``harshest``, the channel that is shown first;
            ``made``, version and command of this report.
    """
    sections = (
        summary_section(record),
        _drawn_sections(record),
        table_section(record["rows"], record["evidence"]),
        method_section(record),
    )
    data = {
        "rows": record["rows"],
        "evidence": record["evidence"],
        "harshest": record["harshest"],
        "colours": COLOURS,
    }
    scripts = "\n".join(_page_file(name) for name in SCRIPTS)
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{LIMITED}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title(record))}</title><style>{_page_file('report.css')}</style></head>\n<body>\n"
        + "\n".join(line for section in sections for line in section)
        + f'\n<script type="application/json" id="data">{in_script(data)}</script>\n'
        + f"<script>{plotting_script()}</script>\n<script>'use strict';\n{scripts}</script>\n</body></html>\n"
    )


def in_script(data: object) -> str:
    """JSON that may stand inside a script element, whatever strings it holds.

    >>> in_script("</script>")
    '"\\\\u003c/script\\\\u003e"'
    """
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    for character in "<>&":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def _drawn_sections(record: Mapping[str, Any]) -> tuple[str, ...]:
    swept = any("sweeps" in entry for entry in record["evidence"])
    return (
        '<noscript><p class="care">The drawings and the sound need the script of this page, which this browser does '
        "not run; the tables below hold every figure.</p></noscript>",
        '<section id="frontier" class="drawn"><h2>Speed against what is lost</h2>'
        '<div class="choices" id="channels" role="radiogroup" aria-label="What the tape goes through"></div>'
        '<div class="plot" id="frontier-plot" tabindex="0" role="application" '
        'aria-label="Formats by useful bytes per second and residual byte error. Left and right arrow move from '
        'format to format, Enter pins one."></div>'
        '<div id="keys" aria-label="Formats"></div>'
        '<p id="pointed" class="spec-line" aria-live="polite"></p></section>',
        '<section id="pinned" class="drawn"><h2>Side by side</h2>'
        '<p class="care screen"><b>Loud tones.</b> Data tones are unpleasant and can harm hearing and loudspeakers. '
        "The clips are turned down to a quarter and start at a low volume; turn your speaker down before you play "
        'one.</p><div id="slots"></div></section>',
        *(
            (
                '<section id="sweeps" class="drawn"><h2>What would change it</h2>'
                '<p id="sweeps-text" aria-live="polite"></p>'
                '<div class="choices" id="sweeps-channels" role="radiogroup" aria-label="The channel whose figures are '
                'turned"></div>'
                '<div class="plot" id="sweeps-plot"></div><div id="sweeps-keys"></div></section>',
            )
            if swept
            else ()
        ),
    )


def _page_file(name: str) -> str:
    return (resources.files(__package__) / "page" / name).read_text(encoding="utf-8")
