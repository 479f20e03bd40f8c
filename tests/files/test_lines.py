"""The line of a key, against the parser of TOML itself: every key that it finds is found, in a line that has it."""

import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from configurator.car.vehicle import load_vehicle, place_in_toml
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.errors import BadInput, Fault
from configurator.files.lines import KeyPath, lines_of_keys, pointed

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
ODD = (
    '''
# engine = 3
name = "a [car] # and = more"  # name = 2
note = """
[not.a.heading]
nor = "a key"
"""
one = """on one line = yes"""; '''
    + "\n"
)
ODD = (
    ODD.replace("; ", "")
    + """raw = 'C:\\[x] = '
list = [
  "a = 1",  # [b]
  [1, 2],
]
after.the.list = 1
[fitted . "front"]
nozzle = { diameter = "31 thou", style = "straight", of = { x = 1, y.z = [1, { w = 2 }] } }
"a b".c = 2
pump = '''
lever = no
''' # over
lobe = 1
[[vehicle]]
file = "a"
[[vehicle]]
file = "b"
day = 2026-05-09
[vehicle.more]
x = 1
[last]
"""
)


def paths_in(tables: dict[str, Any], above: KeyPath = ()) -> Iterator[KeyPath]:
    for key, value in tables.items():
        path = (*above, key)
        if not (isinstance(value, list) and value and isinstance(value[0], dict)):
            yield path
        if isinstance(value, dict):
            yield from paths_in(value, path)
        if isinstance(value, list):
            for place, one in enumerate(one for one in value if isinstance(one, dict)):
                yield (*path, place)
                yield from paths_in(one, (*path, place))


@pytest.mark.parametrize("text", [ODD, *(path.read_text(encoding="utf-8") for path in EXAMPLES)])
def test_every_key_has_the_line_it_stands_in(text: str) -> None:
    found, lines = lines_of_keys(text), text.splitlines()
    values = [path for path in paths_in(tomllib.loads(text)) if "w" not in path and not isinstance(path[-1], int)]
    dotted = {path[:length] for path in found for length in range(1, len(path))}
    assert set(values) <= set(found) | dotted
    for path, line in found.items():
        heads = [step for step in path if isinstance(step, str)]
        assert heads[-1] in lines[line - 1], path
    assert not any("nor" in path or "lever" in path or "engine" in path for path in lines_of_keys(ODD))


def test_a_key_of_another_table_is_not_taken_for_it() -> None:
    found = lines_of_keys("[a]\nx = 1\n[b]\nx = 2\n[a.c]\nx = 3\n")
    assert [found["a", "x"], found["b", "x"], found["a", "c", "x"]] == [2, 4, 6]
    odd = lines_of_keys(ODD)
    assert odd["vehicle", 1, "day"] == odd["vehicle", 1, "file"] + 1 > odd["vehicle", 0, "file"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_place_of_every_key_leads_to_its_line(path: Path) -> None:
    for keys, line in lines_of_keys(path.read_text(encoding="utf-8")).items():
        (fault,) = told(Fault(str(path), place_in_toml(keys), "is wrong"))
        assert fault.line == line, keys


def told(*faults: Fault) -> tuple[Fault, ...]:
    error = pointed(BadInput(faults))
    assert isinstance(error, BadInput)
    return error.faults


@pytest.mark.parametrize(
    ("place", "written"),
    [
        ("[engine] displacement_cc", "displacement_cc = 3.2"), ("[engine] displacment_cc", "displacement_cc = 3.2"),
        ("[engine]", "[engine]"), ("[engine] altitude_m", "[engine]"), ("[engine] styles, value 2", "styles = [1, 2]"),
        ("[fitted.front] nozzle.diameter", "nozzle = { diameter = 1 }"), ("[fitted.front] pump", 'pump.lever = "x"'),
        ("[[vehicle]] number 2, day", "day = 3"), ("[[vehicle]] number 2, file", "[[vehicle]]"), ("name", ""), ("", ""),
        ("line 3", ""), ("[fitted.rear] nozzle", "[fitted]"),
    ],
)  # fmt: skip
def test_a_fault_shows_its_line_or_the_heading_above(place: str, written: str, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(
        "[engine]\ndisplacement_cc = 3.2\nstyles = [1, 2]\n[fitted]\n[fitted.front]\nnozzle = { diameter = 1 }\n"
        'pump.lever = "x"\n[[vehicle]]\nfile = "a"\n[[vehicle]]\nday = 3\n',
        encoding="utf-8",
    )
    (fault,) = told(Fault(str(path), place, "is wrong"))
    assert fault.written == written
    assert str(fault) == (f"{path}, line {fault.line}, {place}: is wrong\n    {written}" if written else str(fault))


def test_faults_are_told_from_top_to_bottom(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text("a = 1\nb = 2\n", encoding="utf-8")
    found = told(
        Fault(str(path), "b", "x"), Fault("gone.toml", "c", "x"), Fault(str(path), "a", "x"), Fault("", "", "x")
    )
    assert [(fault.place, fault.line) for fault in found] == [("a", 1), ("b", 2), ("c", 0), ("", 0)]


def test_a_row_of_a_catalogue_is_shown(tmp_path: Path) -> None:
    copy = tmp_path / "parts"
    shutil.copytree(shipped_catalog_dir(), copy)
    file = copy / "spacers.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    lines[2] = lines[2].replace(lines[2].split(",")[0], "Not A Code")
    file.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load_catalog(copy)
    fault = next(fault for fault in told(*caught.value.faults) if "column code" in fault.place)
    assert (fault.line, fault.written) == (3, lines[2])


def test_a_long_line_is_cut(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(f'name = "{"x" * 300}"\n', encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load_vehicle(path)
    fault = next(fault for fault in told(*caught.value.faults) if fault.place == "name")
    assert len(fault.written) == 100 and fault.written.endswith("...")
