"""Every kind of bad input ends with one clear message, whole."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.inputs.folder import open_lift

CASES: list[dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("bad_input.toml").read_text("utf-8")
)["case"]


def spoilt(case: dict[str, Any]) -> str | bytes | None:
    """The content of the case's file; None where it is left out."""
    if case.get("absent"):
        return None
    if "content_hex" in case:
        return bytes.fromhex(case["content_hex"])
    if "content" in case:
        return str(case["content"])
    return edited(case["file"], case["old"], case["new"])


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_bad_input_is_refused_with_this_message(
    tmp_path: Path, case: dict[str, Any]
) -> None:
    key = case["file"].replace(".", "_")
    folder = write_folder(tmp_path / "lift", **{key: spoilt(case)})
    before = sorted(path.name for path in tmp_path.rglob("*"))

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert str(refused.value) == case["message"]
    assert refused.value.file in (*FILES, "suports.csv")
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_at_least_forty_kinds_are_tried() -> None:
    assert len({case["name"] for case in CASES}) == len(CASES) >= 40


def test_a_folder_without_lift_toml_is_refused(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift", lift_toml=None)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert str(refused.value) == (
        f"{folder}, the folder: found nothing, expected a folder with a lift.toml. "
        'Give the path of a lift folder, or start one with "evac new".'
    )


def write_terrain(
    path: Path, *, west: float, crs: str | None, void_row: int | None = None
) -> None:
    """A plane of 1,600 m and some, in cells of 0.0001 degrees."""
    values = np.tile(np.linspace(1600, 1500, 120)[:, None], (1, 120))
    if void_row is not None:
        values[void_row : void_row + 3] = -9999
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=120,
        width=120,
        count=1,
        dtype="float32",
        crs=crs,
        nodata=-9999,
        transform=Affine(0.0001, 0, west, 0, -0.0001, 46.8075),
    ) as file:
        file.write(values.astype("float32"), 1)


def on_terrain(folder: Path, **terrain: Any) -> Path:
    """The small folder with a terrain file in place of surveyed ground."""
    supports = FILES["supports.csv"]
    for ground in (",1500,", ",1508,", ",1530,", ",1560,", ",1590,"):
        supports = supports.replace(ground, ",,")
    write_folder(folder, ground_csv=None, supports_csv=supports)
    write_terrain(folder / "terrain.tif", **terrain)
    return folder


def test_terrain_gives_the_ground_that_the_table_leaves_blank(tmp_path: Path) -> None:
    lift = open_lift(on_terrain(tmp_path, west=9.895, crs="EPSG:4326"))

    # The plane is 100 m over 119 cells of 0.0001 degrees, row 0 in the north.
    for support, share in zip(lift.supports, (0, 60, 160, 280, 400), strict=True):
        latitude = 46.8 + 0.003597 * share / 400
        row = (46.8075 - 0.00005 - latitude) / 0.0001
        assert support.ground_m == pytest.approx(1600 - 100 * row / 119, abs=0.05)
        assert not support.surveyed
    assert "files.terrain_sd_m" in [item.key for item in lift.assumptions]


@pytest.mark.parametrize(
    ("terrain", "part"),
    [
        ({"west": 9.93, "crs": "EPSG:4326"}, "terrain.tif, "),
        ({"west": 9.895, "crs": None}, "terrain.tif, "),
        ({"west": 9.895, "crs": "EPSG:4326", "void_row": 38}, "support Täli: "),
    ],
    ids=["not covering the line", "without CRS", "void under a support"],
)
def test_terrain_that_gives_no_ground_is_refused(
    tmp_path: Path, terrain: dict[str, Any], part: str
) -> None:
    folder = on_terrain(tmp_path, **terrain)

    with pytest.raises(InputError) as refused:
        open_lift(folder)

    assert part in str(refused.value)
