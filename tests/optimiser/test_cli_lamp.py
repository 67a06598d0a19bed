"""The lamp commands as a user types them."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gelwright.lamp_library.lamp import LAMPS_FOLDER, list_lamps, load_lamp
from gelwright.optimiser import cli
from gelwright.optimiser.cli_lamp import lamp_app

ARCH = str(LAMPS_FOLDER / "demo_arch_365_405" / "export_semicolon.csv")
READ_ARCH = ("lamp", "read", ARCH, "--dark-column", "dark", "--out")

Answer = tuple[int, str, str]


@pytest.fixture
def run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Answer]:
    """Run the command line in an empty folder: exit code, stdout, stderr."""
    monkeypatch.chdir(tmp_path)

    def gelwright(*arguments: str) -> Answer:
        with pytest.raises(SystemExit) as leaving:
            cli.main(arguments)
        out, err = capsys.readouterr()
        code = leaving.value.code
        return (code if isinstance(code, int) else 0), out, err

    return gelwright


def files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_runner_knows_the_four_commands() -> None:
    result = CliRunner().invoke(lamp_app, ["--help"])
    assert result.exit_code == 0
    for command in ("read", "show", "list", "compare"):
        assert command in result.stdout


def test_runner_lists_the_packaged_lamps() -> None:
    result = CliRunner().invoke(lamp_app, ["list"])
    assert result.exit_code == 0
    for name in list_lamps():
        assert name in result.stdout
    assert "Invented demonstration data" in result.stdout
    again = json.loads(CliRunner().invoke(lamp_app, ["list", "--json"]).stdout)
    assert [each["lamp_id"] for each in again] == list(list_lamps())


def test_read_then_show(run, tmp_path: Path) -> None:
    code, out, err = run(*READ_ARCH, "client", "--name", "Client's arch", "--electrical-power-w", "48")
    assert (code, err) == (0, "")
    assert files(tmp_path) == {"client/lamp.toml", "client/spectra.csv"}
    assert "Next: gelwright lamp show ./client" in out
    assert "The dark column 'dark' was subtracted." in out
    code, out, _ = run("lamp", "show", "./client")
    assert code == 0
    assert out.startswith("Client's arch  [client]")
    # the same light as the packaged lamp made from the same file
    assert load_lamp("./client").mean_spectrum().irradiance_w_m2() == pytest.approx(
        load_lamp("demo_arch_365_405").mean_spectrum().irradiance_w_m2(), rel=1e-12
    )


@pytest.mark.parametrize(
    ("file", "options"),
    [
        ("demo_narrow_405/export_tab_long.csv", []),
        ("demo_narrow_385/export_comma.csv", []),
        ("demo_strong_395/export_latin1.csv", ["--electrical-power-w", "96", "--opening-area-cm2", "200"]),
        ("demo_fluorescent_365/export_comma.csv", ["--unit", "W/m^2/nm", "--dark-file", "DARK"]),
    ],
)
def test_every_shipped_export_is_read(run, tmp_path: Path, file: str, options: list[str]) -> None:
    dark = str(LAMPS_FOLDER / "demo_fluorescent_365" / "export_dark.csv")
    options = [dark if each == "DARK" else each for each in options]
    code, out, _ = run("lamp", "read", str(LAMPS_FOLDER / file), "--out", "new/lamp", "--json", *options)
    assert code == 0
    answer = json.loads(out)
    assert Path(answer["written"]) == Path("new/lamp/lamp.toml")
    packaged = load_lamp(file.split("/")[0])
    assert answer["mean"]["irradiance_w_m2"] == pytest.approx(
        packaged.mean_spectrum().irradiance_w_m2(), rel=1e-12
    )
    assert answer["is_demonstration"] is False


def test_show_text_json_and_picture(run, tmp_path: Path) -> None:
    code, out, err = run("lamp", "show", "demo_strong_395", "--plot", "pictures/strong.png")
    assert code == 0
    assert "TPO" in out
    assert err == "Picture written: pictures/strong.png\n"
    assert files(tmp_path) == {"pictures/strong.png"}
    code, out, err = run("lamp", "show", "demo_strong_395", "--plot", "s.svg", "--json")
    assert code == 0
    answer = json.loads(out)
    assert answer["weakest"] == "thumb"
    assert {"key", "photolysis_rate_1_s"} <= set(answer["initiators"][0])
    assert answer["exposure"]["effective_limit_j_m2"] == 30.0
    assert "not a photobiological assessment" in answer["exposure"]["cautions"][0]


def test_compare_text_json_and_picture(run, tmp_path: Path) -> None:
    code, out, _ = run("lamp", "compare", "demo_strong_395", "demo_narrow_405", "--plot", "two.svg")
    assert code == 0
    assert "B / A" in out
    assert files(tmp_path) == {"two.svg"}
    code, out, _ = run("lamp", "compare", "demo_strong_395", "demo_narrow_405", "--json")
    answer = json.loads(out)
    assert (answer["a"]["lamp_id"], answer["b"]["lamp_id"]) == ("demo_strong_395", "demo_narrow_405")


def bad(run, tmp_path: Path, *arguments: str) -> str:
    """One line on stderr, nothing on stdout, exit 2, no file written."""
    before = files(tmp_path)
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.startswith("gelwright: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert files(tmp_path) == before
    assert not (tmp_path / "out").exists()
    return err


BAD_EXPORTS = {
    "gap.csv": "wavelength,a\n" + "".join(f"{nm},1\n" for nm in [*range(350, 370), *range(400, 420)]),
    "unsorted.csv": "wavelength,a\n"
    + "".join(f"{nm},1\n" for nm in [*range(350, 370), 360, *range(371, 400)]),
    "duplicate.csv": "wavelength,a\n" + "".join(f"{nm},1\n" for nm in [*range(350, 370), *range(369, 400)]),
    "negative.csv": "wavelength,a\n" + "".join(f"{nm},{-1 if nm == 360 else 10}\n" for nm in range(350, 420)),
    "nan.csv": "wavelength,a\n" + "".join(f"{nm},{'NaN' if nm == 360 else 10}\n" for nm in range(350, 420)),
    "blank.csv": "wavelength,a\n" + "".join(f"{nm},{'' if nm == 360 else 10}\n" for nm in range(350, 420)),
    "text.csv": "wavelength,a\n" + "".join(f"{nm},{'l0' if nm == 360 else 10}\n" for nm in range(350, 420)),
    "empty.csv": "",
    "few.csv": "wavelength,a\n350,1\n351,1\n",
    "one_column.csv": "wavelength\n350\n351\n",
    "mixed_units.csv": "wavelength,a (W/m2/nm),b (mW/cm2/nm)\n350,1,1\n351,1,1\n",
    "too_bright.csv": "wavelength,a\n" + "".join(f"{nm},10000\n" for nm in range(350, 420)),
    "too_weak.csv": "wavelength,a\n" + "".join(f"{nm},0.001\n" for nm in range(350, 420)),
}


@pytest.mark.parametrize("name", BAD_EXPORTS)
def test_bad_export(run, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(BAD_EXPORTS[name], encoding="utf-8")
    assert name in bad(run, tmp_path, "lamp", "read", name, "--unit", "W/m2/nm", "--out", "out")


def test_binary_and_huge_files(run, tmp_path: Path) -> None:
    (tmp_path / "binary.csv").write_bytes(bytes(range(256)) * 10)
    assert "not plain text" in bad(run, tmp_path, "lamp", "read", "binary.csv", "--out", "out")
    with (tmp_path / "huge.csv").open("wb") as file:
        file.truncate(500_000_000)
    assert "500 MB" in bad(run, tmp_path, "lamp", "read", "huge.csv", "--out", "out")


def test_bad_options_of_read(run, tmp_path: Path) -> None:
    read = (*READ_ARCH[:3], "--out", "out")
    assert "looks like a dark reading; say --dark-column dark" in bad(run, tmp_path, *read)
    assert "unknown dark column" in bad(run, tmp_path, *read, "--dark-column", "drak")
    plain = str(LAMPS_FOLDER / "demo_narrow_385" / "export_comma.csv")
    missing = ("--dark-file", "none.csv", "--out", "out")
    assert "none.csv: no such file" in bad(run, tmp_path, "lamp", "read", plain, *missing)
    assert "heading says mW/m2/nm" in bad(run, tmp_path, *READ_ARCH, "out", "--unit", "mW/cm2/nm")
    assert "unknown unit" in bad(run, tmp_path, *READ_ARCH, "out", "--unit", "lux")
    assert "no such file" in bad(
        run, tmp_path, "lamp", "read", "none.csv", "--unit", "W/m2/nm", "--out", "out"
    )
    power = ("--electrical-power-w", "5", "--opening-area-cm2", "200")
    assert "above the rated electrical 5 W" in bad(run, tmp_path, *READ_ARCH, "out", *power)


def test_a_wrong_unit_is_named_with_the_right_one(run, tmp_path: Path) -> None:
    lines = (LAMPS_FOLDER / "demo_narrow_385" / "export_comma.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "mute.csv").write_text("\n".join(lines).replace(" (mW/cm2/nm)", ""), encoding="utf-8")
    read = ("lamp", "read", "mute.csv", "--out", "out", "--unit")
    message = bad(run, tmp_path, *read, "mW/m2/nm")
    assert "as mW/cm2/nm (10000 times as much: 18 mW/cm2) it would be believable" in message
    assert "as mW/cm2/nm (1000 times as much" in bad(run, tmp_path, *read, "uW/cm2/nm")


def test_an_existing_lamp_is_kept_unless_asked(run, tmp_path: Path) -> None:
    assert run(*READ_ARCH, "mine")[0] == 0
    before = (tmp_path / "mine" / "lamp.toml").read_bytes()
    assert "exists already" in bad(run, tmp_path, *READ_ARCH, "mine", "--name", "Other")
    assert (tmp_path / "mine" / "lamp.toml").read_bytes() == before
    assert run(*READ_ARCH, "mine", "--name", "Other", "--overwrite")[0] == 0
    assert load_lamp("./mine").name == "Other"


def test_bad_names_and_pictures(run, tmp_path: Path) -> None:
    assert "did you mean 'demo_strong_395'" in bad(run, tmp_path, "lamp", "show", "demo_strong_359")
    assert "no lamp file here" in bad(run, tmp_path, "lamp", "show", "./nowhere")
    assert "no picture format" in bad(run, tmp_path, "lamp", "show", "demo_strong_395", "--plot", "a.bmp")
    assert "no picture format" in bad(run, tmp_path, "lamp", "compare", *list_lamps()[:2], "--plot", "a")
    assert "unknown lamp" in bad(run, tmp_path, "lamp", "compare", "demo_strong_395", "x")


def test_places_that_cannot_be_written(run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    assert "cannot be written" in bad(run, tmp_path, *READ_ARCH, "file/below")
    assert "is a file" in bad(run, tmp_path, *READ_ARCH, "file")
    assert "cannot be written" in bad(
        run, tmp_path, "lamp", "show", "demo_narrow_405", "--plot", "file/a.png"
    )


def test_missing_arguments_are_exit_2(run) -> None:
    assert run("lamp", "read")[0] == 2
    assert run("lamp", "read", ARCH)[0] == 2
    assert run("lamp", "compare", "demo_strong_395")[0] == 2
