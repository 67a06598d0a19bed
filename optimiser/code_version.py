"""Version of the search, the model and its data, taken from their files, so that kept work never meets other numerics.

A number raised by hand would be forgotten some day, and then blends polished by an older search pass for those of this one.
A digest of the bare files would throw a night's work away for a comment. So comments, docstrings and blank lines are left
out, and what a search rests on is found by following its imports.
"""

from __future__ import annotations

import ast
import hashlib
import io
import tokenize
from functools import cache
from pathlib import Path

ROOM = Path(__file__).parent
BELOW = ("models", "lamp_library")  # rooms the search computes with
SEARCHES = ("search", "sure", "front", "sharing", "stack_problem")  # with all they import in this room
ALONE = (
    "takers",
    "set_tune",
    "set_kept",
)  # they polish too, and import reports besides, which change no blend
MARK = "-"  # between what was asked and the version
SILENT = (tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENCODING)


@cache
def code_version() -> str:
    """Eight hexadecimal digits for everything between a brief and its blends that is not in the brief.

    The same on every machine and every Python; another one as soon as a line that does something, or a number of the
    substance tables, differs.
    """
    rooms = [ROOM.parent / name for name in BELOW]
    sources = [path for room in rooms for path in room.glob("*.py")]
    sources += [ROOM / f"{name}.py" for name in {*_imported(SEARCHES), *ALONE}]
    content = hashlib.sha256()
    for path in sorted(sources):
        content.update(f"{path.parent.name}/{path.name}\n{doing(path.read_text(encoding='utf-8'))}".encode())
    for path in sorted((rooms[0] / "data").rglob("*.csv")):
        content.update(path.name.encode() + path.read_bytes())
    return content.hexdigest()[:8]


def versioned(asked: str) -> str:
    """A fingerprint of what was asked, with the version of the code behind it."""
    return f"{asked}{MARK}{code_version()}"


def other_version(digest: str, mine: str) -> str:
    """The version in a fingerprint if it is of the same brief as mine but of another version; else empty.

    Parameters
    ----------
    digest, mine : str
        Fingerprints made by `versioned`; words after them (which warm start, which corner) may differ.

    Examples
    --------
    >>> other_version("3f5a-01", "3f5a-02 warm"), other_version("77aa-01", "3f5a-02")
    ('01', '')
    """
    (asked, _, version), (my_asked, _, my_version) = (
        text.split(" ")[0].partition(MARK) for text in (digest, mine)
    )
    return version if asked == my_asked and my_version and version != my_version else ""


def beside(where: object, versions: list[str], mine: str) -> str:
    """What is said when work of other versions is met."""
    return (
        f"{where}: holds work of another version of the search, the model or its data ({', '.join(versions)}; this one is "
        f"{mine.split(' ')[0].partition(MARK)[2]}). It is left as it is, nothing is taken from it: this run starts afresh beside it."
    )


def doing(source: str) -> str:
    """Source text without comments, docstrings and blank lines.

    Examples
    --------
    >>> doing('x = 1  # why' + chr(10) * 3 + 'y = "# kept"')
    'x = 1\\ny = "# kept"'
    """
    lines = source.split("\n")
    before = tokenize.NEWLINE
    tokens = list(tokenize.generate_tokens(io.StringIO(source).readline))
    for each, after in zip(tokens, [*tokens[1:], None], strict=True):
        (row, column), (last, _) = each.start, each.end
        if each.type == tokenize.COMMENT:
            lines[row - 1] = lines[row - 1][:column]
        elif each.type == tokenize.STRING and before in SILENT and after and after.type == tokenize.NEWLINE:
            lines[row - 1 : last] = [""] * (last - row + 1)
        if each.type not in (tokenize.COMMENT, tokenize.NL):
            before = each.type
    return "\n".join(line.rstrip() for line in lines if line.strip())


def _imported(names: tuple[str, ...]) -> set[str]:
    """Modules of this room, and all that they import in it."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        found.add(name)
        for node in ast.walk(ast.parse((ROOM / f"{name}.py").read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 1:
                waiting += [node.module] if node.module else [each.name for each in node.names]
    return found
