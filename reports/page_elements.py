"""Pieces of a page: tables, and text that is safe whatever it holds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from math import floor, log10

from ..contracts.errors import in_one_line


def grid(
    heads: Sequence[str],
    rows: Iterable[Sequence[object]],
    numbers: frozenset[int] | set[int] = frozenset(),
    limits: frozenset[int] | set[int] = frozenset(),
) -> str:
    """A table.

    Args:
        heads: of the columns.
        rows: as many cells each; any text, escaped here.
        numbers: columns of figures, which stand to the right.
        limits: rows that stand out.
    """

    def cell(tag: str, place: int, told: object) -> str:
        kind = ' class="n"' if place in numbers else ""
        return f"<{tag}{kind}>{shown(told)}</{tag}>"

    head = "".join(cell("th", place, told) for place, told in enumerate(heads))
    body = "".join(
        ('<tr class="limit">' if number in limits else "<tr>")
        + "".join(cell("td", place, told) for place, told in enumerate(row))
        + "</tr>"
        for number, row in enumerate(rows)
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def shown(told: object, longest: int = 1000) -> str:
    """Fit for the page, whatever it holds."""
    return escape(in_one_line(told, longest))


def breakable(spec: object) -> str:
    """A long spec, fit for the page, that may break after its punctuation.

    >>> breakable("a:b=1,c=2/d")
    'a:b=1,<wbr>c=2/<wbr>d'
    """
    return shown(spec, 4000).replace("/", "/<wbr>").replace(",", ",<wbr>")


def milliseconds(length: float) -> str:
    """A length, with four digits.

    >>> milliseconds(0.05), milliseconds(744.0)
    ('0.05 ms', '744 ms')
    """
    return f"{length:.4g} ms"


def figure(value: float | None) -> str:
    """A time with one decimal; None is that of something that never happens."""
    return "never" if value is None else f"{value:.1f}"


def spread(three: Sequence[float]) -> str:
    """Least, typical and most."""
    return " / ".join(f"{value:.3g}" for value in three)


def duration(seconds: float) -> str:
    """For a person.

    >>> duration(193.4), duration(6.44)
    ('3 min 13 s', '6.4 s')
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes else f"{seconds:.1f} s"


def down(limit: float) -> str:
    """A figure above 0 that must not be exceeded, with two digits, rounded down.

    >>> down(10.99), down(208333.3), down(0.478)
    ('10', '200000', '0.47')
    """
    digit = 10.0 ** (floor(log10(limit)) - 1)
    return f"{floor(limit / digit + 1e-9) * digit:.10g}"
