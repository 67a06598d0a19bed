"""What is on disk is what gets installed: every package folder listed, every data file matched by a pattern."""

import tomllib
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
ROOMS = ("lamp_library", "models", "optimiser")
SETUPTOOLS = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]


def is_product_file(path: Path) -> bool:
    return path.is_file() and "__pycache__" not in path.parts


def test_every_folder_with_modules_is_listed() -> None:
    on_disk = {
        ".".join(["gelwright", *module.relative_to(REPOSITORY).parent.parts])
        for room in ROOMS
        for module in (REPOSITORY / room).rglob("*.py")
    }
    assert set(SETUPTOOLS["packages"]) == on_disk


def test_every_listed_package_maps_to_its_folder() -> None:
    expected = {package: package.removeprefix("gelwright.") for package in SETUPTOOLS["packages"]}
    assert SETUPTOOLS["package-dir"] == expected


@pytest.mark.parametrize("room", ROOMS)
def test_every_room_is_a_typed_package(room: str) -> None:
    assert (REPOSITORY / room / "__init__.py").is_file()
    assert (REPOSITORY / room / "py.typed").is_file()


@pytest.mark.parametrize("room", ROOMS)
def test_every_data_file_is_packed(room: str) -> None:
    folder = REPOSITORY / room
    patterns = [*SETUPTOOLS["package-data"]["*"], *SETUPTOOLS["package-data"][f"gelwright.{room}"]]
    packed = {path for pattern in patterns for path in folder.glob(pattern) if is_product_file(path)}
    data = {path for path in folder.rglob("*") if is_product_file(path) and path.suffix != ".py"}
    assert data == packed
