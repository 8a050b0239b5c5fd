"""Nothing in a lift folder reaches outside it, explodes, or is executed."""

from __future__ import annotations

import ast
import csv
import io
import os
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from small_folder import FILES, edited, write_folder

import evac
from evac.errors import InputError
from evac.facts.drill import DrillRecord
from evac.inputs import layers_xml, spreadsheet
from evac.inputs.folder import open_lift
from evac.inputs.layers import read_layer
from evac.inputs.scaffold import open_blanks
from evac.inputs.tables import raw_table
from evac.tables_out import drills_csv


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_link_that_leaves_the_folder_is_refused(tmp_path: Path) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_text(FILES["kit.csv"])
    folder = write_folder(tmp_path / "lift", kit_csv=None)
    (folder / "kit.csv").symlink_to(outside)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert str(refused.value) == (
        "lift.toml, [files] kit: found 'kit.csv', expected the name of a file inside "
        "the lift folder. Copy the file into the lift folder and give its name, with / "
        "between folders."
    )


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("read", [open_lift, open_blanks])
def test_a_lift_toml_that_is_a_link_out_of_the_folder_is_refused(
    tmp_path: Path, read: Callable[[Path], object]
) -> None:
    outside = tmp_path / "secret"
    outside.write_text("root:x:0:0")
    folder = write_folder(tmp_path / "lift", lift_toml=None)
    (folder / "lift.toml").symlink_to(outside)

    with pytest.raises(InputError) as refused:
        read(folder)

    assert str(refused.value) == (
        "lift.toml, the file: found 'lift.toml', expected the name of a file inside "
        "the lift folder. Copy the file into the lift folder and give its name, with / "
        "between folders."
    )


def test_open_blanks_looks_at_no_file_outside_the_folder(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("<root:x:0:0>")
    toml = edited("lift.toml", "[files]\n", '[files]\nkit = "../secret"\n')

    with pytest.raises(InputError) as refused:
        open_blanks(write_folder(tmp_path / "lift", lift_toml=toml))

    assert "[files] kit: found '../secret', expected the name of a file inside" in str(
        refused.value
    )


@pytest.mark.parametrize(
    "name", ["../lift2/kit.csv", "/etc/hosts", "..\\kit.csv", "a/../../kit.csv"]
)
def test_a_path_that_leaves_the_folder_is_refused(tmp_path: Path, name: str) -> None:
    written = name.replace("\\", "\\\\")
    toml = edited("lift.toml", "[files]\n", f'[files]\nkit = "{written}"\n')

    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path / "lift", lift_toml=toml))

    assert "expected the name of a file inside the lift folder" in str(refused.value)


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize(
    ("key", "name", "stated"),
    [
        ("terrain", "tile.tif", 'terrain = ["tile.tif"]'),
        ("hazards", "hazards.geojson", ""),
        ("drills", "papers/drills.csv", 'drills = "papers/drills.csv"'),
    ],
)
def test_no_link_of_any_kind_leaves_the_folder(
    tmp_path: Path, key: str, name: str, stated: str
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / Path(name).name).write_bytes(b"secret")
    toml = edited("lift.toml", "[files]\n", f"[files]\n{stated}\n")
    folder = write_folder(tmp_path / "lift", lift_toml=toml, hazards_geojson=None)
    if "/" in name:
        (folder / "papers").symlink_to(outside)
    else:
        (folder / name).symlink_to(outside / name)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert f"[files] {key}: found '{name}', expected the name of a file inside" in str(
        refused.value
    )
    assert "secret" not in str(refused.value)


def test_a_raster_that_names_other_files_is_not_followed(tmp_path: Path) -> None:
    # GDAL's virtual format may name any file or address.
    outside = tmp_path / "outside.tif"
    outside.write_bytes(b"II*\x00")
    folder = write_folder(tmp_path / "lift")
    (folder / "terrain.tif").write_text(
        '<VRTDataset rasterXSize="9" rasterYSize="9"><VRTRasterBand dataType="Float32"'
        f' band="1"><SimpleSource><SourceFilename>{outside}</SourceFilename>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert "expected a GeoTIFF, an ESRI ASCII grid (.asc), an SRTM tile" in str(
        refused.value
    )


def test_a_zip_bomb_as_kmz_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layers_xml, "MOST_BYTES", 2_000_000)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("doc.kml", "<kml>" + " " * 2_500_000 + "</kml>")

    with pytest.raises(InputError) as refused:
        read_layer(packed.getvalue(), file="access.kmz")

    assert "more than 2,000,000 bytes unpacked" in str(refused.value)


@pytest.mark.parametrize("ending", ["gpx", "kml"])
def test_entities_in_a_layer_are_not_expanded(ending: str) -> None:
    # The "billion laughs": each entity ten times the one before.
    entities = '<!ENTITY a "ha">' + "".join(
        f'<!ENTITY {name} "{f"&{before};" * 10}">'
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    text = f"<!DOCTYPE {ending} [{entities}]><{ending}><name>&i;</name></{ending}>"

    with pytest.raises(InputError) as refused:
        read_layer(text.encode(), file=f"access.{ending}")

    assert "expected a file without XML entities" in str(refused.value)


FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__"}
FORBIDDEN_MODULES = {"pickle", "marshal", "shelve", "dill", "joblib", "subprocess"}


def test_nothing_is_unpickled_or_executed() -> None:
    # Whatever may run code from a file is nowhere in the package.
    found = []
    for path in sorted(Path(evac.__file__).parent.rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            elif isinstance(node, ast.Call):
                called = node.func
                if isinstance(called, ast.Name) and called.id in FORBIDDEN_CALLS:
                    found.append(f"{path.name}:{node.lineno} {called.id}()")
                attribute = called.attr if isinstance(called, ast.Attribute) else ""
                if attribute in ("load", "system"):
                    found.append(f"{path.name}:{node.lineno} .{attribute}()")
            found += [
                f"{path.name}:{node.lineno} {name}"
                for name in names
                if name.split(".")[0] in FORBIDDEN_MODULES
            ]

    assert found == []


def test_xml_is_parsed_by_the_safe_parser_only() -> None:
    parsers = ("fromstring", "parse", "iterparse", "XMLParser", "XML")
    for path in sorted(Path(evac.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
                ("xml.", "lxml")
            ):
                names = {alias.name for alias in node.names}
                assert not names & {*parsers, "ElementTree", "minidom", "sax"}, path
            if isinstance(node, ast.Import):
                assert not any(
                    alias.name.startswith(("xml.", "lxml")) for alias in node.names
                ), path


def workbook(sheet_xml: str) -> bytes:
    """A real workbook whose sheet is replaced by the given XML."""
    made = io.BytesIO()
    openpyxl.Workbook().save(made)
    changed = io.BytesIO()
    with (
        zipfile.ZipFile(made) as source,
        zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            content = source.read(entry)
            if entry.filename == "xl/worksheets/sheet1.xml":
                content = sheet_xml.encode("utf-8")
            target.writestr(entry.filename, content)
    return changed.getvalue()


def test_a_zip_bomb_as_spreadsheet_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    # The real limit of the whole file; that of each part is tried where sheets are.
    monkeypatch.setattr(spreadsheet, "MOST_UNPACKED_BYTES", 2_000_000)
    content = workbook("<worksheet>" + " " * 2_500_000 + "</worksheet>")
    assert len(content) < 20_000

    with pytest.raises(InputError) as refused:
        raw_table(content, file="kit.xlsx")

    assert "bytes unpacked', expected at most 2,000,000" in str(refused.value)


def test_entities_in_a_spreadsheet_are_not_expanded() -> None:
    bomb = (
        '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        '<sheetData><row><c t="inlineStr"><is><t>&b;</t></is></c></row></sheetData>'
        "</worksheet>"
    )
    with pytest.raises(InputError) as refused:
        raw_table(workbook(bomb), file="kit.xlsx")

    assert "expected an XLSX spreadsheet" in str(refused.value)


def test_a_table_without_end_is_refused() -> None:
    rows = "1,2\n" * (spreadsheet.MOST_ROWS + 2)
    with pytest.raises(InputError) as refused:
        raw_table(f"a,b\n{rows}".encode(), file="kit.csv")

    assert "expected at most 20,000 rows" in str(refused.value)


def test_a_huge_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    with (folder / "kit.csv").open("wb") as file:
        file.truncate(3_000_000_000)  # a hole: it takes no room on the disk

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert str(refused.value) == (
        "kit.csv, the file: found '3,000,000,000 bytes', expected at most 50,000,000. "
        "Keep only the part around the lift."
    )


@pytest.mark.parametrize("name", ["=cmd|' /C calc'!A0", "+3", "@5", "-x", "'=y", "'z"])
def test_a_name_like_a_formula_is_a_text_in_the_table_of_drills(
    tmp_path: Path, name: str
) -> None:
    record = DrillRecord(
        date=date(2026, 11, 5),
        team=name,
        technique="ladder",
        step=name,
        per="passenger",
        condition=name,
        seconds=240.0,
        where=name,
    )
    content = drills_csv([record])

    # No cell begins with what a spreadsheet program would run.
    cells = next(csv.reader(content.decode().splitlines()[1:]))
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)
    (read,) = open_lift(write_folder(tmp_path, drills_csv=content)).drill_records
    # Steps and conditions are read in small letters.
    assert (read.team, read.step, read.condition) == (name, name.lower(), name.lower())


def test_formulas_and_markup_stay_text(tmp_path: Path) -> None:
    text = FILES["teams.csv"].replace("Hut", "=HYPERLINK(0) <b>&amp;</b> {x}")
    lift = open_lift(write_folder(tmp_path, teams_csv=text))

    assert lift.teams[0].start_place == "=HYPERLINK(0) <b>&amp;</b> {x}"


def test_a_computed_cell_gives_its_value_not_its_formula() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["a"])
    sheet.append(["=1+1"])
    made = io.BytesIO()
    book.save(made)

    # No spreadsheet program has computed it, so there is no value: never the formula,
    # and never a blank either.
    with pytest.raises(InputError) as refused:
        raw_table(made.getvalue(), file="a.xlsx")

    assert "a.xlsx, row 2, column 1: found '=1+1', expected a value." in str(
        refused.value
    )


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [
        ("lift.toml", "spacing_m = 18.0", "spacing_m = " + "9" * 400),
        ("lift.toml", "spacing_m = 18.0", "spacing_m = " + "9" * 5_000),
        ("lift.toml", "seats = 2", "seats = " + "9" * 400),
        ("lift.toml", "[files]", "x = " + "[" * 20_000),
        ("muster.geojson", "[9.9005, 46.8035]", "[" + "9" * 400 + ", 46.8]"),
        ("muster.geojson", "[9.9005, 46.8035]", "[" + "9" * 5_000 + ", 46.8]"),
        ("muster.geojson", "[9.9005, 46.8035]", "[1e400, 46.8]"),
        ("muster.geojson", "[9.9005, 46.8035]", "[" * 20_000),
        ("kit.csv", "L1,Upper patrol,loop,50", "L1,Upper patrol,loop," + "9" * 5_000),
        ("kit.csv", "L1,", "L" * 200_000 + ","),
    ],
)
def test_numbers_and_nesting_without_end_are_refused(
    tmp_path: Path, key: str, old: str, new: str
) -> None:
    replaced = {key.replace(".", "_"): edited(key, old, new)}
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, **replaced))

    assert refused.value.file == key
    assert len(str(refused.value)) < 1_000
