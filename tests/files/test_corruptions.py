"""Generated corruptions of every shipped file: a loader returns a value or raises BadInput, never anything else."""

import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from configurator.car.fitted import resolve_fitted
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import FAMILIES, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput

SHIPPED = load_catalog(shipped_catalog_dir())
EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
TABLES = [shipped_catalog_dir() / f"{family}.csv" for family in FAMILIES]
FUZZ = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
each_file = pytest.mark.parametrize("file", [*EXAMPLES, *TABLES], ids=lambda file: file.name)


@pytest.fixture
def directory(tmp_path: Path) -> Path:
    for table in TABLES:
        shutil.copy(table, tmp_path)
    return tmp_path


def survives(path: Path, content: bytes) -> None:
    """Loading either succeeds or raises BadInput with text for every fault; anything else fails the test."""
    path.write_bytes(content)
    try:
        if path.suffix == ".toml":
            resolve_fitted(load_vehicle(path), SHIPPED)
        else:
            load_catalog(path.parent)
    except BadInput as error:
        assert all(str(fault) for fault in error.faults)
        assert len(str(error).splitlines()) <= 21


@each_file
@FUZZ
@given(data=st.data())
def test_bytes_flipped(file: Path, data: st.DataObject, directory: Path) -> None:
    content = bytearray(file.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    survives(directory / file.name, bytes(content))


@each_file
@FUZZ
@given(data=st.data())
def test_cut_short_and_pasted(file: Path, data: st.DataObject, directory: Path) -> None:
    content = file.read_bytes()
    cut, resumed = data.draw(st.integers(0, len(content))), data.draw(st.integers(0, len(content)))
    survives(directory / file.name, content[:cut] + data.draw(st.sampled_from([b"", content[resumed:]])))


ODD_VALUES = st.one_of(
    st.sampled_from(["nan", "inf", "-inf", "-1", "0", "1e308", "1e-308", "true", '""', "[]", "{}", "[[1]]",
                     "1979-05-27",
                     "0xffff", "'31 thou'", "'#0'", "'#68'", "'0.8 furlong'", "9" * 400, '"\\u0000"', "{ code = 'a' }",
                     "[1, 'a', {}]", "'0:0 1:2'", "'a:b'", "''"]),
    st.floats().map(str), st.integers().map(str), st.text(max_size=12).map(repr),
)  # fmt: skip


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda file: file.stem)
@FUZZ
@given(data=st.data())
def test_odd_values_in_a_vehicle_file(file: Path, data: st.DataObject, directory: Path) -> None:
    lines = file.read_text(encoding="utf-8").splitlines()
    keyed = [number for number, line in enumerate(lines) if " = " in line and not line.startswith("note")]
    number = data.draw(st.sampled_from(keyed))
    lines[number] = f"{lines[number].split(' = ')[0]} = {data.draw(ODD_VALUES)}"
    survives(directory / file.name, "\n".join(lines).encode())


@pytest.mark.parametrize("file", TABLES, ids=lambda file: file.stem)
@FUZZ
@given(data=st.data())
def test_odd_cells_in_a_catalogue(file: Path, data: st.DataObject, directory: Path) -> None:
    rows = [line.split(",") for line in file.read_text(encoding="utf-8").splitlines()]
    row = data.draw(st.sampled_from(rows))
    row[data.draw(st.integers(0, len(row) - 1))] = data.draw(ODD_VALUES)
    survives(directory / file.name, "\n".join(",".join(cells) for cells in rows).encode())
