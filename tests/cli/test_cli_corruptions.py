"""Generated corruptions of every example through the command line: an answer or one message, never a traceback."""

import contextlib
import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from configurator import cli
from configurator.car.vehicle import (
    CarburettorTable,
    DrivelineTable,
    EngineTable,
    FuelTable,
    ManifoldTable,
    TipInTable,
    Vehicle,
)
from configurator.catalogue.load import shipped_catalog_dir
from configurator.files.declared import Record

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
ODD = ["nan", "-inf", "-1", "0", "1e308", "true", '""', "[]", "{}", "'31 thou'", "'#0'", "'0.8 furlong'", "9" * 400,
       '"\\u0000"', "'none'", "0.0000001", "1e9", "'aimed-0.80'", "'pump-5cc'", "'lobe-force'"]  # fmt: skip
TABLES: dict[str, type[Record]] = {
    "engine": EngineTable, "driveline": DrivelineTable, "manifold": ManifoldTable, "carburettor": CarburettorTable,
    "fuel": FuelTable, "tip_in": TipInTable,
}  # fmt: skip


def survives(path: Path, *words: str) -> int:
    """The exit code; the test fails unless the run ends in an answer, or in one message and nothing else."""
    out, err, argv = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = ["tipin", words[0], str(path), *words[1:], "--json"]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as end:
            cli.main()
    finally:
        sys.argv = argv
    code = end.value.code or 0
    assert code in (0, 1, 2)
    if code == 2:
        assert out.getvalue() == "" and err.getvalue().startswith("tipin: ")
        assert len(err.getvalue().splitlines()) <= 21 and "Traceback" not in err.getvalue()
    else:
        assert err.getvalue() == "" and json.loads(out.getvalue())["vehicle"]
    return int(code)


def _corrupted(text: str, dice: np.random.Generator) -> bytes:
    """The file with a line lost, doubled or given an odd value, cut short, or with a byte changed."""
    lines = text.splitlines()
    keyed = [number for number, line in enumerate(lines) if " = " in line]
    line, kind = int(dice.choice(keyed)), int(dice.integers(0, 6))
    if kind < 3:
        lines[line] = f"{lines[line].split(' = ')[0]} = {dice.choice(ODD)}"
    elif kind == 3:
        del lines[line]
    elif kind == 4:
        return text.encode()[: int(dice.integers(0, len(text)))]
    else:
        content = bytearray(text.encode())
        content[int(dice.integers(0, len(content)))] = int(dice.integers(0, 256))
        return bytes(content)
    return "\n".join(lines).encode()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_corruptions_of_an_example_end_in_an_answer_or_one_message(example: Path, tmp_path: Path) -> None:
    dice = np.random.default_rng(len(example.stem))
    codes = []
    for _ in range(30):
        path = tmp_path / "car.toml"
        path.write_bytes(_corrupted(example.read_text(encoding="utf-8"), dice))
        codes.append(survives(path, "check"))
        assert [entry.name for entry in tmp_path.iterdir()] == ["car.toml"]
    assert 2 in codes and set(codes) != {2}


def _edges() -> Iterator[tuple[str, str, float]]:
    """Every figure of a vehicle file that has bounds, just inside each of them."""
    for table, model in TABLES.items():
        for key, declared in model.model_fields.items():
            for bound in declared.metadata:
                for name, sign in (("gt", 1), ("ge", 0), ("lt", -1), ("le", 0)):
                    if hasattr(bound, name):
                        edge = float(getattr(bound, name))
                        yield table, key, edge + sign * max(abs(edge), 0.1) * 1e-3
    for key in ("late_first_fuel", "late_main_circuit"):
        bounds = Vehicle.model_fields[key].metadata
        yield from (("", key, float(getattr(b, n))) for b in bounds for n in ("ge", "le") if hasattr(b, n))


def test_figures_at_the_edge_of_what_is_accepted_give_an_answer(tmp_path: Path) -> None:
    """Whatever a vehicle file may say, the answer is made of numbers: an engine of 51 cc or one of 29 litres."""
    example = next(path for path in EXAMPLES if path.stem == "roadster").read_text(encoding="utf-8")
    path = tmp_path / "car.toml"
    answered = 0
    edges = list(_edges())
    for table, key, value in edges:
        lines = [line for line in example.splitlines() if line.split(" = ")[0] != key]
        place = lines.index(f"[{table}]") + 1 if f"[{table}]" in lines else 0
        new = [f"{key} = {value!r}"] if place or not table else [f"[{table}]", f"{key} = {value!r}"]
        lines = [*lines[:place], *new, *lines[place:]] if place or not table else [*lines, *new]
        path.write_text("\n".join(lines), encoding="utf-8")
        answered += survives(path, "check") != 2
    assert answered > 0.7 * len(edges)
