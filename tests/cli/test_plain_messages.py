"""What is said to someone who never heard of TOML: the line, and what should stand there instead."""

import tomllib
from pathlib import Path

import pytest

from configurator.car.fitted import resolve_fitted
from configurator.car.vehicle import load_vehicle
from configurator.catalogue.load import load_catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.files.reading import MOST_LINES_AT_FAULT, did_you_mean, read_toml

CATALOG = load_catalog(shipped_catalog_dir())
ROADSTER = (shipped_catalog_dir() / "examples" / "roadster.toml").read_text(encoding="utf-8")
NOT_READ = "cannot be read, as it is not TOML"


def refusal(path: Path, text: str) -> list[str]:
    """The faults of a vehicle file of this text, each without the file's name."""
    path.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(BadInput) as caught:
        resolve_fitted(load_vehicle(path), CATALOG)
    return [str(fault).removeprefix(f"{path}, ") for fault in caught.value.faults]


# A line as a person writes it, what is said to be expected, and the line mended so.
UNREADABLE = [
    ("name = My car", 'text between double quotes, such as name = "My car"', 'name = "My car"'),
    ("name = \u201cMy car\u201d", 'straight double quotes " in place of curly ones', 'name = "My car"'),
    ("name = \u2018My car\u2019", 'straight double quotes " in place of curly ones', 'name = "My car"'),
    ('name = "My car', "the closing quote on the same line", 'name = "My car"'),
    ("name = 'it's mine'", "nothing behind the closing quote, and no such quote within", 'name = "it\'s mine"'),
    ('name : "My car"', "= between key and value, not a colon", 'name = "My car"'),
    ("displacement_cc 3200", "= between key and value, such as idle_rpm = 800", "displacement_cc = 3200"),
    ("= 3200", "a key before the =", "displacement_cc = 3200"),
    ("idle rpm = 800", "one word before the =", "idle_rpm = 800"),
    ("idle_rpm =", "a value behind the =, or # before the key", "# idle_rpm ="),
    ("float_level = yes", "true or false in small letters without quotes; not yes or no", "float_level = true"),
    ("float_level = No", "true or false in small letters", "float_level = false"),
    ("float_level = True", "true or false in small letters", "float_level = true"),
    ("displacement_cc = 1,800", "a number without a comma between thousands, such as 1800", "displacement_cc = 1800"),
    ("wheel_radius_m = 0,28", "a decimal point, not a comma", "wheel_radius_m = 0.28"),
    ("wheel_radius_m = .28", "a digit on either side of the decimal point", "wheel_radius_m = 0.28"),
    ("idle_rpm = 0800", "a number without zeros before it", "idle_rpm = 800"),
    ("displacement_cc = 1800 cc", "the number alone, or with its unit between double quotes", "displacement_cc = 1800"),
    ("slack_mm = 15 thou", 'with its unit between double quotes, such as "31 thou"', 'slack_mm = "15 thou"'),
    ("slack_mm = 1/32", "a decimal number, not a fraction", "slack_mm = 0.79"),
    ("nozzle_measured = #68", 'a drill between double quotes, such as "#68"', 'nozzle_measured = "#68"'),
    ('note = "c:\\x"', "a / in place of each backslash", 'note = "c:/x"'),
    ("[engine", "a heading alone between square brackets, such as [engine]", "[engine]"),
    ("nozzle = { diameter = 31 thou }", "between { and }, with commas", 'nozzle = { diameter = "31 thou" }'),
    ('nozzle_styles = ["straight" "aimed"]', "commas between the values of the list",
     'nozzle_styles = ["straight", "aimed"]'),
    ("idle_rpm = 800 # \x07", "no control characters", "idle_rpm = 800"),
    ('name = "My\x07car"', "no control characters", 'name = "My car"'),
]  # fmt: skip


@pytest.mark.parametrize(("line", "cure", "mended"), UNREADABLE, ids=[line[:24] for line, _, _ in UNREADABLE])
def test_a_line_that_cannot_be_read(line: str, cure: str, mended: str, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    (fault,) = refusal(path, f"# one\nfirst = 1\n{line}\n\n# end\n")
    quoted = line.replace("\x07", "\\x07")
    assert fault.startswith(f"line 3: {NOT_READ}: {quoted}; expected ")
    assert cure in fault
    path.write_text(mended, encoding="utf-8")
    assert isinstance(read_toml(path), dict), "the cure is none"


def test_text_left_open_is_shown_where_it_opens(tmp_path: Path) -> None:
    (fault,) = refusal(tmp_path / "car.toml", 'name = "A"\nnote = """\nIt stumbles.\n\n[engine]\nidle_rpm = 800\n')
    assert fault == f'line 2: {NOT_READ}: note = """; expected three such quotes at the end of the text too'


def test_a_key_or_heading_written_twice(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    (fault,) = refusal(path, "[engine]\nidle_rpm = 800\nidle_rpm = 850\n")
    assert fault == f"line 3: {NOT_READ}: idle_rpm = 850; expected each key once under its heading"
    (fault,) = refusal(path, "[engine]\nidle_rpm = 800\n[engine]\naltitude_m = 0\n")
    assert fault == f"line 3: {NOT_READ}: [engine]; expected each heading once, with all its keys below it"


def test_a_number_too_long_is_found_in_its_line(tmp_path: Path) -> None:
    (fault,) = refusal(tmp_path / "car.toml", f"a = 1\nb = {'9' * 5000}\nc = 2\n")
    assert fault.startswith(f"line 2: {NOT_READ}: b = 9999")
    assert fault.endswith("...; expected a number of fewer digits")


def test_a_long_line_is_shortened_and_its_control_characters_are_escaped(tmp_path: Path) -> None:
    (fault,) = refusal(tmp_path / "car.toml", "a = \x1b[31m" + "z" * 100_000)
    assert fault.isprintable()
    assert "a = \\x1b[31mzzz" in fault and "zzz...;" in fault
    assert len(fault) < 250


def test_every_line_at_fault_is_found_at_once(tmp_path: Path) -> None:
    lines = ["name = My car", "", "[engine]", "displacement_cc = 1,800", "idle_rpm = 800", "[confirmed]",
             "float_level = yes", 'idle_mixture = "true', "idle_speed = true"]  # fmt: skip
    faults = refusal(tmp_path / "car.toml", "\r\n".join(lines))
    assert [fault.partition(":")[0] for fault in faults] == ["line 1", "line 4", "line 7", "line 8"]


def test_lines_are_not_judged_without_the_one_they_hang_on(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    assert len(refusal(path, 'note = "It stumbles,\nthen it pulls."\nidle_rpm = yes\n')) == 1
    assert len(refusal(path, "[engine\nidle_rpm = yes\n")) == 1
    assert len(refusal(path, "table = [[0, 0],\n[5, 1.1\n[engine]\nidle_rpm = yes\n")) == 1


def test_a_file_at_fault_in_every_line_ends_somewhere(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    assert len(refusal(path, "a = yes\n" * 5000)) == MOST_LINES_AT_FAULT
    assert len(refusal(path, "a = yes\n" * 50_000)) == 1


def test_what_can_be_read_is_read_the_same_with_either_line_end(tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_bytes(ROADSTER.replace("\n", "\r\n").encode())
    assert read_toml(path) == tomllib.loads(ROADSTER)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('transmission = "manual"', 'transmission = "Automatic"',
         "transmission: found 'Automatic'; expected 'manual', 'converter' or 'free'; did you mean converter?"),
        ('transmission = "manual"', 'transmission = "manuel"', "did you mean manual?"),
        ("displacement_cc = 3200", "displacement_cc = 3.2",
         "found 3.2; expected a number above 50 and below 30000 cc; did you mean \"3.2 l\" or \"3.2 cu in\"?"),
        ("volume_cc = 2600", "volume_cc = 2.6", "did you mean \"2.6 l\" or"),
        ('pump = "pump-3cc"', 'pump = "3cc"',
         "[fitted.front] pump: the catalogue has no 3cc; expected the code of a pump; "
         "did you mean pump-3cc? `tipin parts pumps` lists them"),
        ('lobe = "lobe-fell"', 'lobe = "zzz"', "expected the code of a lobe; `tipin parts lobes` lists them"),
        ("float_level = true", 'float_level = "ja"',
         "float_level: found 'ja': neither yes nor no; expected yes or no (in a vehicle file true or false)"),
    ],
    ids=lambda text: text[:34],
)  # fmt: skip
def test_what_was_meant(old: str, new: str, words: str, tmp_path: Path) -> None:
    assert old in ROADSTER
    (fault,) = refusal(tmp_path / "car.toml", ROADSTER.replace(old, new, 1))
    assert words in fault


@pytest.mark.parametrize("found", ["-3.2", "0", "0.01", "nan", "40000"])
def test_nothing_is_guessed_where_litres_do_not_fit(found: str, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    (fault,) = refusal(path, ROADSTER.replace("displacement_cc = 3200", f"displacement_cc = {found}", 1))
    assert "[engine] displacement_cc: found " in fault and "did you mean" not in fault


def test_no_remedy_names_a_file_of_the_program(tmp_path: Path) -> None:
    text = ROADSTER
    for key in ("nozzle", "feed_screw", "pump", "lobe"):
        text = text.replace(f"\n{key} = ", f'\n{key} = "qqq" # ', 1)
    text = text.replace("[fitted.front]", '[fitted]\nspacer = "qqq"\n[fitted.front]', 1)
    faults = refusal(tmp_path / "car.toml", text)
    assert len(faults) == 5
    assert not any(str(CATALOG.directory) in fault or ".csv" in fault for fault in faults)


@pytest.mark.parametrize(("text", "value"), [('"true"', True), ('"No"', False), ("true", True), ("false", False)])
def test_yes_and_no_in_quotes_count_as_true_and_false(text: str, value: bool, tmp_path: Path) -> None:
    path = tmp_path / "car.toml"
    path.write_text(ROADSTER.replace("float_level = true", f"float_level = {text}", 1), encoding="utf-8")
    assert load_vehicle(path).confirmed.float_level is value


def test_part_of_a_word_is_enough_to_be_recognised() -> None:
    assert did_you_mean("3cc", ["pump-3cc-soft", "pump-3cc", "pump-5cc"]) == "did you mean pump-3cc?"
    assert did_you_mean("cc", ["pump-3cc"]) == ""
