"""A table as lines of text."""

from __future__ import annotations

from collections.abc import Collection, Sequence


def text_columns(rows: Sequence[Sequence[str]], left: Collection[int] = ()) -> list[str]:
    """Rows of equally many cells as lines with even columns, two spaces apart.

    Parameters
    ----------
    rows : sequence of sequence of str
        One row at least; a heading is a row like the others.
    left : collection of int
        Columns set flush left; the others, numbers mostly, are set flush right.

    Examples
    --------
    >>> text_columns([("coat", "s"), ("base", "30")], left=(0,))
    ['coat   s', 'base  30']
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if i in left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
