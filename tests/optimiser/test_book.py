"""The trial book: entries open, damage is named, and two copies merge with git itself."""

import shutil
import subprocess
from pathlib import Path

import pytest

from gelwright.lamp_library.errors import GelwrightError, InputError
from gelwright.lamp_library.lamp import LAMPS_FOLDER
from gelwright.optimiser import cli
from gelwright.optimiser.book import (
    add,
    content_sha256,
    entries,
    entry_named,
    log_lines,
    open_book,
)
from gelwright.optimiser.book_text import book_text
from gelwright.optimiser.demo_data import DEMO_FOLDER

GELS = DEMO_FOLDER / "gels"
LAMP = LAMPS_FOLDER / "demo_narrow_405"


def git(folder: Path, *arguments: str) -> str:
    """Run git in a folder, as a stranger to this machine's settings."""
    done = subprocess.run(
        [
            "git", "-c", "user.name=Tester", "-c", "user.email=tester@example.org", "-c", "init.defaultBranch=main",
            "-c", "commit.gpgsign=false", *arguments,
        ],
        cwd=folder, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture
def book(tmp_path: Path) -> Path:
    folder = open_book(tmp_path / "book", new=True)
    add(folder, GELS / "clear_builder.toml")
    add(folder, LAMP)
    return folder


def faults(book: Path) -> dict[str, str]:
    return {each.name: each.fault for each in entries(book) if each.fault}


def test_entries_open_and_are_logged(book: Path) -> None:
    assert [(each.kind, each.name) for each in entries(book)] == [
        ("gels", "clear_builder"),
        ("lamps", "demo_narrow_405"),
    ]
    assert faults(book) == {}
    lines, complaints = log_lines(book)
    assert [line.act for line in lines] == ["add", "add"]
    assert complaints == []
    assert content_sha256(book / "lamps/demo_narrow_405") == lines[1].sha256
    assert "TPO-L" in entry_named(book, "clear_builder").summary


def test_a_damaged_file_is_named_and_the_rest_opens(book: Path) -> None:
    add(book, GELS / "base_coat.toml")
    damaged = book / "gels/clear_builder/gel.toml"
    damaged.write_text(
        damaged.read_text(encoding="utf-8").replace("[resin_parts]", "[resin_parts"), encoding="utf-8"
    )
    found = faults(book)
    assert list(found) == ["clear_builder"]
    assert "gel.toml" in found["clear_builder"]
    assert "do not match" in found["clear_builder"]
    text, count = book_text(book)
    assert count == 1
    assert "demo_narrow_405" in text


def test_an_edited_file_that_still_opens_is_named_too(book: Path) -> None:
    path = book / "gels/clear_builder/gel.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("TPO-L = 1.5", "TPO-L = 1.6"), encoding="utf-8")
    assert "do not match any line" in faults(book)["clear_builder"]


def test_a_missing_folder_and_a_stranger_are_named(book: Path) -> None:
    shutil.rmtree(book / "lamps/demo_narrow_405")
    shutil.copytree(book / "gels/clear_builder", book / "gels/smuggled_in")
    found = faults(book)
    assert "folder is missing" in found["demo_narrow_405"]
    assert "not in the log" in found["smuggled_in"]


def test_names_are_not_taken_twice_unasked(book: Path) -> None:
    with pytest.raises(InputError, match="in the book already"):
        add(book, LAMP)
    assert add(book, LAMP, replace=True).act == "replace"
    assert faults(book) == {}


def test_what_does_not_open_is_not_added(book: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("name = 3\n")
    with pytest.raises(GelwrightError):
        add(book, bad)
    with pytest.raises(InputError, match="neither a trial"):
        add(book, tmp_path / "nothing")
    assert len(log_lines(book)[0]) == 2
    with pytest.raises(InputError, match="no trial book"):
        open_book(tmp_path)


def test_two_people_work_on_copies_and_git_merges_them(book: Path, tmp_path: Path) -> None:
    git(book, "init", "-q")
    git(book, "add", "-A")
    git(book, "commit", "-q", "-m", "begun")
    git(tmp_path, "clone", "-q", str(book), "copy")
    other = tmp_path / "copy"
    add(book, GELS / "base_coat.toml")
    add(book, GELS / "top_coat.toml")
    add(other, GELS / "red_colour.toml")
    add(other, LAMPS_FOLDER / "demo_narrow_385")
    for folder in (book, other):
        git(folder, "add", "-A")
        git(folder, "commit", "-q", "-m", "work")
    git(book, "pull", "-q", "--no-rebase", "--no-edit", str(other), "main")
    assert git(book, "status", "--porcelain") == ""
    assert faults(book) == {}
    assert len(list(entries(book))) == 6
    lines, complaints = log_lines(book)
    assert complaints == []
    assert len(lines) == 6


def test_a_change_of_the_same_entry_by_both_is_told(book: Path, tmp_path: Path) -> None:
    git(book, "init", "-q")
    git(book, "add", "-A")
    git(book, "commit", "-q", "-m", "begun")
    git(tmp_path, "clone", "-q", str(book), "copy")
    other, gel = tmp_path / "copy", (GELS / "clear_builder.toml").read_text(encoding="utf-8")
    for folder, amount in ((book, "1.2"), (other, "0.9")):
        changed = tmp_path / folder.name / ".." / f"{folder.name}_gel" / "clear_builder.toml"
        changed.parent.mkdir()
        changed.write_text(gel.replace("TPO-L = 1.5", f"TPO-L = {amount}"), encoding="utf-8")
        add(folder, changed, replace=True)
        git(folder, "add", "-A")
        git(folder, "commit", "-q", "-m", f"TPO-L {amount}")
    # git itself stops at the gel file; whoever merges keeps one side of it, the log keeps both
    git(book, "pull", "-q", "--no-rebase", "--no-edit", "-X", "ours", str(other), "main")
    lines, _ = log_lines(book)
    assert [line.act for line in lines if line.name == "clear_builder"] == ["add", "replace", "replace"]
    # of two lines of one second the order is open: the entry may count as the last state or as the one before it
    fault = faults(book).get("clear_builder", "")
    assert fault == "" or "two people changed it" in fault
    assert (
        add(book, book / "gels/clear_builder/gel.toml", name="clear_builder", replace=True).act == "replace"
    )
    assert faults(book) == {}


def test_commands(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def run(*arguments: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as leaving:
            cli.main(["book", *arguments])
        return int(leaving.value.code or 0), capsys.readouterr().out

    assert run("add", str(GELS / "top_coat.toml"), "--book", str(book))[0] == 0
    code, text = run("list", str(book))
    assert code == 0
    assert "3 entries, 0 with a fault." in text
    assert "top_coat" in run("show", str(book), "gels/top_coat")[1]
    (book / "gels/top_coat/gel.toml").write_text("no toml", encoding="utf-8")
    code, text = run("list", str(book))
    assert code == 2
    assert "DAMAGED" in text
    assert "clear_builder" in text
