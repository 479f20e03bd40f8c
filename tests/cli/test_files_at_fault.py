"""A file at fault: everything that is wrong with it in one message, each with its line and what to write instead."""

import sys
from pathlib import Path

import pytest

from configurator.catalogue.load import shipped_catalog_dir
from configurator.cli import main

EXAMPLES = sorted((shipped_catalog_dir() / "examples").glob("*.toml"))
MANY = """
name = "Many faults"
demand_factor = 1.2
[engine]
displacement_cc = "350 hp"   # from its papers
idle_rpm = 800
[driveline]
transmission = "manuel"
[carburettor]
barrels = 2
rated_flow_m3_min = 600
[fitted]
spacer = "spacer-14"
[fitted.front]
nozzle = "straight-0.83"
feed_screw = "screw-plane"
pump.code = "x"
lobe = "lobe-feel"
[assumed]
lip_mm = 900
idle_pressure_kpa = 38
"""
SAYS = """\
line 3, demand_factor: is a key no more; late_first_fuel and late_main_circuit took its place (how late the first fuel is, and the main circuit; 1 is as the model says)
    demand_factor = 1.2
line 5, [engine] displacement_cc: found '350 hp': 'hp' is no unit of volume; expected a number above 50 and below 30000 cc, or text such as "1.2 l" or "75 cu in"
    displacement_cc = "350 hp"   # from its papers
line 8, [driveline] transmission: found 'manuel'; expected 'manual', 'converter' or 'free'; did you mean manual?
    transmission = "manuel"
line 11, [carburettor] rated_flow_m3_min: found 600; expected a number above 0.5 and below 60 m3/min; did you mean "600 cfm" or "600 l/s"?
    rated_flow_m3_min = 600
line 13, [fitted] spacer: the catalogue has no spacer-14; expected the code of a spacer; did you mean spacer-13 or spacer-19? `tipin parts spacers` lists them
    spacer = "spacer-14"
line 15, [fitted.front] nozzle: the catalogue has no straight-0.83; expected the code of a nozzle; did you mean straight-0.82 or straight-0.85? `tipin parts nozzles` lists them
    nozzle = "straight-0.83"
line 16, [fitted.front] feed_screw: the catalogue has no screw-plane; expected the code of a feed screw; did you mean screw-plain? `tipin parts feed_screws` lists them
    feed_screw = "screw-plane"
line 17, [fitted.front] pump: a code and measured figures together; expected the code alone, or figures without a code
    pump.code = "x"
line 18, [fitted.front] lobe: the catalogue has no lobe-feel; expected the code of a lobe; did you mean lobe-fell? `tipin parts lobes` lists them
    lobe = "lobe-feel"
line 20, [assumed] lip_mm: found 900; expected 2.5 to 23.5 mm
    lip_mm = 900
line 21, [assumed] idle_pressure_kpa: is a figure no more; idle_pressure_kpa under [engine] took its place; move the line there
    idle_pressure_kpa = 38
"""  # noqa: E501


def refusal(path: Path, text: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """What `tipin check` says of a vehicle file with this text."""
    path.write_text(text, encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["tipin", "check", str(path)])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 2
    return capsys.readouterr().err.removeprefix("tipin: ").replace(f"{path}, ", "")


def test_all_that_is_wrong_is_told_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert refusal(tmp_path / "car.toml", MANY, monkeypatch, capsys) == SAYS


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_what_a_catalogue_finds_is_the_same_whatever_else_is_wrong(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A phase that is not said, a code there is not, an assumed figure there is not: with and without another fault."""
    text = path.read_text(encoding="utf-8").replace("phase_deg = ", "# ").replace('"screw-', '"skrew-')
    text += "\n[assumed]\nmoon_phase = 1\n" if "[assumed]" not in text else ""
    file = tmp_path / "car.toml"
    alone = refusal(file, text, monkeypatch, capsys)
    with_another = refusal(file, text.replace("idle_rpm = ", "idle_rpm = 9"), monkeypatch, capsys)
    others = [line for line in with_another.splitlines() if "idle_rpm" not in line]
    assert others == alone.splitlines() and "moon_phase" in alone and "phase_deg: is missing" in alone
    assert ("skrew-" in alone) == ("skrew-" in text)
    assert "[engine] idle_rpm: found 9" in with_another


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("idle_rpm = ", "idle_rmp = ", ["[engine] idle_rmp: is not known here; did you mean idle_rpm?"]),
        ("displacement_cc", "displacment_cc", ["displacment_cc: is not known here; did you mean displacement_cc?"]),
        ("feed_screw", "feed_scew", ["[fitted.front] feed_scew: is not known here; did you mean feed_screw?"]),
        ("displacement_cc", "# ", ["[engine] displacement_cc: is missing; expected a number"]),
        ("idle_rpm = 850", 'displacement_cd = "2 l"\nidle_rmp = 850', [
            "displacement_cd: is not known here; did you mean displacement_cc?",
            "idle_rmp: is not known here; did you mean idle_rpm?"]),
    ],
)  # fmt: skip
def test_a_misspelt_key_is_one_fault(
    before: str, after: str, says: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """Also one that may be left out, beside a fault in the engine's size."""
    text = next(path for path in EXAMPLES if path.stem == "roadster").read_text(encoding="utf-8")
    told = refusal(tmp_path / "car.toml", text.replace(before, after), monkeypatch, capsys)
    lines = [line for line in told.splitlines() if not line.startswith("    ")]
    assert len(lines) == len(says) and all(one in line for one, line in zip(says, lines, strict=True))


def test_what_may_be_left_out_is_not_missed_beside_a_size_at_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = next(path for path in EXAMPLES if path.stem == "roadster").read_text(encoding="utf-8")
    text = text.replace("displacement_cc = 3200", 'displacement_cc = "350 cui"').replace("idle_rpm", "# idle_rpm")
    told = refusal(tmp_path / "car.toml", text, monkeypatch, capsys)
    assert "did you mean cu in?" in told and "idle_rpm: is missing" not in told
