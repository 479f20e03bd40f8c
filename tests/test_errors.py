"""Errors say what, where, what was expected and what to do, on lines that are safe to print."""

import math
import pickle

import pytest

from configurator.errors import BadInput, BadSize, Fault, OutOfRange, TipinError


def test_a_fault_names_file_place_problem_expectation_and_remedy() -> None:
    fault = Fault("lobes.csv", "row 3, column nose", "0.5 is too small", "at least 1", "see the lobe's data sheet")
    assert str(fault) == (
        "lobes.csv, row 3, column nose: 0.5 is too small; expected at least 1; see the lobe's data sheet"
    )


def test_a_fault_leaves_out_what_it_does_not_know() -> None:
    assert str(Fault("van.toml", "", "no such file")) == "van.toml: no such file"
    assert str(Fault("", "", "'x' is no slot", field="with")) == "with: 'x' is no slot"
    assert str(Fault("", "", "nothing to do")) == "nothing to do"


def test_a_fault_is_one_line_without_control_characters() -> None:
    assert str(Fault("a\nb.toml", "", "'\x1b[31m' is unknown")) == r"a\nb.toml: '\x1b[31m' is unknown"


def test_bad_input_lists_twenty_faults_and_counts_the_rest() -> None:
    faults = [Fault("f.csv", f"row {n}", "bad") for n in range(2, 25)]
    lines = str(BadInput(faults)).splitlines()
    assert len(lines) == 21
    assert lines[0] == "f.csv, row 2: bad"
    assert lines[20] == "and 3 more"
    assert str(BadInput(faults[:20])).splitlines()[-1] == "f.csv, row 21: bad"
    assert BadInput(faults).faults == tuple(faults)


def test_bad_input_without_a_fault_is_a_fault_of_the_program() -> None:
    with pytest.raises(ValueError, match="at least one fault"):
        BadInput([])


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(-1000.0, 11000.0, "-1000 to 11000 m"), (0.0, math.inf, "at least 0 m"), (-math.inf, 5.0, "at most 5 m")],
)
def test_out_of_range_says_what_was_expected(low: float, high: float, expected: str) -> None:
    assert str(OutOfRange("altitude", 12000.0, low, high, "m")) == f"altitude is 12000 m; expected {expected}"


def test_out_of_range_without_a_unit() -> None:
    assert str(OutOfRange("length over diameter", 12.0, 1.5, 10.0, "")) == (
        "length over diameter is 12; expected 1.5 to 10"
    )


@pytest.mark.parametrize(
    "error",
    [
        BadInput([Fault("a", "b", "c")]),
        BadSize("31", "31 mm is no orifice", "0.1 to 10 mm", "did you mean 31 thou?"),
        OutOfRange("altitude", 1.0, 2.0, 3.0, "m"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_every_error_is_ours_and_crosses_a_process_boundary(error: TipinError) -> None:
    copy = pickle.loads(pickle.dumps(error))
    assert isinstance(copy, TipinError)
    assert (type(copy), str(copy)) == (type(error), str(error))


def test_a_bad_size_is_a_value_error_so_that_validators_may_raise_it() -> None:
    assert issubclass(BadSize, ValueError)
    assert not issubclass(BadInput, ValueError)
