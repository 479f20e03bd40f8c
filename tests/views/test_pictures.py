"""Pictures: what is drawn is the data, they read in grey and on a phone, and the same data make the same bytes."""

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from test_band import EXAMPLES, chosen, example

from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.judging.lift import lift_of
from configurator.judging.mixture import mixture_of
from configurator.learning.belief import Belief, prior
from configurator.learning.nozzle_sizes import NozzleSizes, nozzle_sizes
from configurator.ordering.report import CurvePoint, OrderReport, VehicleSureness
from configurator.physics.lateness import Lateness
from configurator.units.showing import SHOWN
from configurator.units.units import show_diameter
from configurator.views import pictures
from configurator.views.picture_style import WIDTH_IN
from configurator.views.vehicle_pictures import PICTURES

PHONE_PX = 390


def drawn(
    name: str, what: str, circuit: str = "front", belief: Belief | None = None, words: Sequence[str] = ()
) -> tuple[Figure, str]:
    case = example(name)
    figure, says = PICTURES[what](case.with_linkage_set(), circuit, chosen(case, *words), belief)
    assert isinstance(figure, Figure)
    return figure, says


def after_runs(runs: int) -> Belief:
    """Belief in an engine whose first fuel is late."""
    return Belief(prior(Lateness(1.4, 1.0), 0.2).masses, runs=runs)


def shares(sizes: NozzleSizes) -> list[tuple[float, ...]]:
    """What every size would be like [%], as the bars have it from their left."""
    return [tuple(100 * share for share in (s.hesitates, s.right, s.flat, s.rich)) for s in sizes.sizes]


@cache
def money_report() -> OrderReport:
    points = ((0.0, 0.1, 0.0, True), (41.5, 0.5, 0.25, False), (80.0, 0.8, 0.7, True))
    curve = [CurvePoint(budget=spent + 9.0, spent=spent, sureness=mean, least=least, proven=proven)
             for spent, mean, least, proven in points]  # fmt: skip
    cars = [VehicleSureness(vehicle=name, day="2026-05-09", wanted=0.8, before=0.1, after=after,
                            enough=after >= 0.8, says="", runs=0, setups={}, nozzles={}, stack=[]) 
            for name, after in (("van", 0.83), ("truck", 0.71))]  # fmt: skip
    return OrderReport(schema_version=1, name="two cars", ok=False, proven=True, bound=None, lines=[], suppliers=[],
                       work=0.0, total=80.0, vehicles=cars, left_alone=[], curve=curve, failing=[], ways_out=[],
                       notes=[])  # fmt: skip


@cache
def gallery() -> dict[str, Figure]:
    """One of each, and the two that may stand beside each other or stacked."""
    case = example("roadster")
    choices = (case.as_fitted, chosen(case, "front.nozzle=0.85mm", "front.lobe=lobe-tarn@0"))
    bands = [band_of(case, "front", choice) for choice in choices]
    hill = example("hill-climber")
    mixtures = [mixture_of(hill, name, hill.as_fitted) for name in hill.circuit_names]
    return {
        **{what: drawn("roadster", what)[0] for what in PICTURES},
        "lean and rich": drawn("van", "mixture")[0],
        "after runs": drawn("tow-truck", "sizes", belief=after_runs(2))[0],
        "fitted and proposed": drawn("roadster", "pull", words=("front.nozzle=0.85mm", "front.lobe=lobe-tarn@0"))[0],
        "beside": pictures.shot_picture(bands), "stacked": pictures.shot_picture(bands, stacked=True),
        "circuits": pictures.mixture_picture(mixtures),
        "circuits stacked": pictures.mixture_picture(mixtures, stacked=True),
        "money": pictures.money_picture(money_report()),
    }  # fmt: skip


GALLERY = tuple(gallery())


def series(figure: Figure) -> dict[str, Any]:
    """Lines, areas and bars by their label, each once."""
    return {
        label: handle for axes in figure.axes for handle, label in zip(*axes.get_legend_handles_labels(), strict=True)
    }


def texts(figure: Figure) -> Iterator[Text]:
    figure.draw_without_rendering()
    return (text for text in figure.findobj(Text) if isinstance(text, Text) and text.get_visible() and text.get_text())


def all_inside(figure: Figure) -> bool:
    """Whether everything drawn lies within the figure."""
    box, (width, height) = figure.get_tightbbox(), figure.get_size_inches()
    return bool(min(box.x0, box.y0) >= -0.01 and box.x1 <= width + 0.01 and box.y1 <= height + 0.01)


# --- data -------------------------------------------------------------------------------------------------------------


def test_the_shot_drawn_is_the_band() -> None:
    case = example("roadster").with_linkage_set()
    band, found = band_of(case, "front", case.as_fitted), series(gallery()["shot"])
    for label, flow in (("delivered shot", band.delivered_cc_s), ("phi 0.80", band.lean_cc_s),
                        ("phi 1.50", band.rich_cc_s)):  # fmt: skip
        assert np.array_equal(found[label].get_xdata(), band.time_ms)
        assert np.array_equal(found[label].get_ydata(), flow)
    (axes,) = gallery()["shot"].axes
    assert axes.get_ylim()[1] > band.delivered_cc_s.max()


def test_the_mixture_drawn_is_the_data_with_what_is_poor_and_rich_shaded() -> None:
    case = example("van").with_linkage_set()
    mix, found = mixture_of(case, "front", case.as_fitted), series(gallery()["lean and rich"])
    assert np.array_equal(found["with the shot"].get_ydata(), mix.phi)
    assert np.array_equal(found["without the shot"].get_ydata(), mix.phi_without)
    assert found["lean, phi 0.80"].get_ydata() == [0.8, 0.8] and found["rich, phi 1.50"].get_ydata() == [1.5, 1.5]
    shaded = np.concatenate([path.vertices for path in found["rich"].get_paths()])
    assert shaded[:, 1].min() == pytest.approx(1.5) and shaded[:, 1].max() == pytest.approx(mix.phi.max())
    below = np.concatenate([path.vertices for path in found["poor"].get_paths()])
    assert below[:, 1].max() == pytest.approx(0.8) and below[:, 1].min() == pytest.approx(mix.phi.min())
    told = [text.get_text() for text in texts(gallery()["lean and rich"])]
    for span, area, word in ((mix.rich_span_ms, shaded, "rich"), (mix.poor_span_ms, below, "poor")):
        assert span is not None and area[:, 0].max() == pytest.approx(span[1])
        assert f"{word} {span[1] - span[0]:.0f} ms" in told


def test_the_time_before_a_mixture_counts_is_marked() -> None:
    hill = example("hill-climber")
    mix = mixture_of(hill, "rear", hill.as_fitted)
    front, rear = gallery()["circuits"].axes
    marked = dict(zip(*reversed(rear.get_legend_handles_labels()), strict=True))["not counted yet"]
    assert marked.get_x() == 0.0
    assert marked.get_x() + marked.get_width() == pytest.approx(mix.time_ms[mix.counts][0])
    assert "not counted yet" not in front.get_legend_handles_labels()[1]


@pytest.mark.parametrize(
    ("name", "belief", "behind"),
    [("roadster", None, "engines like this one"), ("tow-truck", after_runs(1), "the engines that 1 run leaves open"),
     ("tow-truck", after_runs(2), "the engines that 2 runs leave open")],
)  # fmt: skip
def test_bars_are_what_each_size_would_be_like_and_the_chosen_one_is_marked(
    name: str, belief: Belief | None, behind: str
) -> None:
    case = example(name).with_linkage_set()
    sizes = nozzle_sizes(case, "front", case.as_fitted, belief)
    figure, _ = drawn(name, "sizes", belief=belief)
    (axes,) = figure.axes
    bars: dict[float, list[Rectangle]] = {}
    for bar in axes.patches:
        assert isinstance(bar, Rectangle)
        bars.setdefault(bar.get_y() + 0.5 * bar.get_height(), []).append(bar)
    for row, own in enumerate(shares(sizes)):
        drawn_bars = bars[row]
        assert [bar.get_width() for bar in drawn_bars] == pytest.approx(own)
        assert [bar.get_x() for bar in drawn_bars] == pytest.approx(np.cumsum([0.0, *own[:-1]]))
        assert [to_rgba(bar.get_facecolor())[0] < 0.1 for bar in drawn_bars] == [False, True, False, False]
    labels = axes.get_yticklabels()
    assert [label.get_text() for label in labels] == [show_diameter(size.diameter_mm) for size in sizes.sizes]
    bold = [label.get_text() for label in labels if label.get_fontweight() == "bold"]
    assert bold == [show_diameter(size.diameter_mm) for size in sizes.sizes if size.chosen] and len(bold) == 1
    told = [text.get_text() for text in texts(figure)]
    assert all(f"{100 * size.right:.0f} %" in told for size in sizes.sizes)
    assert axes.get_xlabel() == f"share of {behind}, %"


def test_lift_is_drawn_for_each_phase_with_idle_marked() -> None:
    case = example("roadster").with_linkage_set()
    lift = lift_of(case, "front", case.as_fitted)
    above, below = gallery()["lift"].axes
    for axes, curves in ((above, [p.lift_mm for p in lift.phases]), (below, [p.left_percent for p in lift.phases])):
        found = dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
        for phase, curve in zip(lift.phases, curves, strict=True):
            line = found[f"at {phase.phase_deg:g} deg{', chosen' if phase.chosen else ''}"]
            assert np.array_equal(line.get_ydata(), curve) and np.array_equal(line.get_xdata(), lift.throttle_deg)
        assert found[f"idle, {lift.idle_deg:.1f} deg"].get_xdata() == [lift.idle_deg] * 2


def test_money_is_drawn_as_steps_with_what_is_not_proven_hollow() -> None:
    found = series(gallery()["money"])
    assert list(found["mean of the vehicles"].get_ydata()) == pytest.approx([10, 50, 80])
    assert list(found["least sure vehicle"].get_xdata()) == [0, 41.5, 80]
    assert list(found["mean of the vehicles: at least"].get_ydata()) == pytest.approx([50])
    assert found["this order, 80.00"].get_xdata() == [80.0, 80.0]


@pytest.mark.parametrize("name", ["beside", "stacked", "circuits", "circuits stacked"])
def test_two_stand_in_one_figure_on_one_scale(name: str) -> None:
    one, other = gallery()[name].axes
    assert one.get_xlim() == other.get_xlim() and one.get_ylim() == other.get_ylim()
    assert one.get_position().x0 < other.get_position().x0 or "stacked" in name
    assert one.get_position().y0 > other.get_position().y0 or "stacked" not in name


# --- words ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_words_hold_the_figures(name: str) -> None:
    case = example(name).with_linkage_set()
    for circuit in case.circuit_names:
        band, mix = band_of(case, circuit, case.as_fitted), mixture_of(case, circuit, case.as_fitted)
        shot = f"Delivered shot of {band.volume_cc:.2f} cc within {band.ends_ms:.0f} ms. Felt: {band.felt}."
        assert drawn(name, "shot", circuit)[1] == shot
        said = drawn(name, "mixture", circuit)[1]
        spans = (mix.poor_span_ms, mix.rich_span_ms)
        poor_ms, rich_ms = (span[1] - span[0] if span else 0.0 for span in spans)
        assert f"below 0.80 for {poor_ms:.0f} ms" in said and f"above 1.50 for {rich_ms:.0f} ms" in said
        assert f"{mix.phi[mix.counts].min():.2f} with the shot" in said and said.endswith(f"Felt: {band.felt}.")
        assert drawn(name, "pull", circuit)[1] == f"As fitted: {band.felt}."
        lifts = drawn(name, "lift", circuit)[1]
        for phase in lift_of(case, circuit, case.as_fitted).phases:
            said = f"{phase.left_at_idle_percent:.0f} % at {phase.phase_deg:g} deg{' (chosen)' * phase.chosen}"
            assert said in lifts
    assert pictures.says_of_money(money_report()) == (
        "This order costs 80.00 and makes the least sure of 2 vehicles 71 % sure. "
        "The mean sureness rises from 10 % for 0.00 to 80 % for 80.00."
    )


def test_the_chosen_size_is_told_with_the_surest() -> None:
    case = example("roadster").with_linkage_set()
    sizes = nozzle_sizes(case, "front", case.as_fitted, None)
    surest = max(sizes.sizes, key=lambda size: size.right)
    told = f"with these parts the surest is {show_diameter(surest.diameter_mm)}, {100 * surest.right:.0f} %."
    (now,) = [size for size in sizes.sizes if size.chosen]
    said = f"{show_diameter(now.diameter_mm)} is right for {100 * now.right:.0f} % of engines like this one; {told}"
    assert now.right < surest.right - 0.01 and pictures.says_of_sizes(sizes) == said
    taken = tuple(replace(size, chosen=size is surest) for size in sizes.sizes)
    said = pictures.says_of_sizes(replace(sizes, sizes=taken))
    assert said.endswith("of engines like this one; with these parts no other size is right for more.")


def test_no_size_is_called_the_surest_that_another_rule_forbids() -> None:
    """Large nozzles want the larger pump: size and propose give them nothing."""
    case = example("tow-truck").with_linkage_set()
    sizes = nozzle_sizes(case, "front", case.as_fitted, None)
    surest = max(sizes.sizes, key=lambda size: size.right)
    assert not surest.keeps_rules and any(size.keeps_rules and size.right > 0.0 for size in sizes.sizes)
    assert show_diameter(surest.diameter_mm) not in pictures.says_of_sizes(sizes)
    taken = replace(sizes, sizes=tuple(replace(size, chosen=size is surest) for size in sizes.sizes))
    assert "another rule speaks against it" in pictures.says_of_sizes(taken)


def test_two_are_told_apart_in_words_and_nothing_is_called_nothing() -> None:
    case = example("roadster")
    bands = [band_of(case, "front", c) for c in (case.as_fitted, chosen(case, "front.lobe=lobe-edge"))]
    said = pictures.says_of_shot(bands)
    assert said.count("Club roadster, front circuit with straight-0.65") == 2
    assert said.endswith("lobe-edge at 8 deg: Nothing is delivered: the lobe does not meet the pump's lever.")
    assert "inf" not in said and "inf" not in pictures.terminal_picture(bands[1])
    assert not [text for text in texts(pictures.shot_picture(bands)) if "inf" in text.get_text()]


# --- looks ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", GALLERY)
def test_every_axis_has_its_unit(name: str) -> None:
    for axes in gallery()[name].axes:
        assert re.search(r"cc/s|mm|%|no unit", axes.get_ylabel()), axes.get_ylabel()
    assert re.search(r", ms|, deg|, %|currency", gallery()[name].axes[-1].get_xlabel())


def look(handle: Any) -> tuple[Any, ...]:
    """Kind, dash, hatch, mark and lightness of a series: what is left of it without colour."""
    if hasattr(handle, "patches"):
        handle = handle.patches[0]
    hatch = handle.get_hatch() if hasattr(handle, "get_hatch") else None
    if hasattr(handle, "get_marker"):
        colour = handle.get_color()
        dash = handle._dash_pattern[1] if handle.is_dashed() else handle.get_linestyle()
        style: tuple[Any, ...] = (str(dash), handle.get_marker(), str(handle.get_markerfacecolor()))
    else:
        colour, style = np.ravel(handle.get_facecolor()), ("area", np.size(handle.get_edgecolor()))
    red, green, blue, _ = to_rgba(colour)
    assert red == green == blue, "ink only"
    return style, hatch, round(4 * red)


@pytest.mark.parametrize("name", GALLERY)
def test_every_series_differs_without_colour(name: str) -> None:
    looks = {label: look(handle) for label, handle in series(gallery()[name]).items()}
    assert len(looks) > 2 and len(set(looks.values())) == len(looks), looks
    shown = np.asarray(imread(io.BytesIO(pictures.as_png(gallery()[name], dpi=60))))[..., :3]
    assert np.ptp(shown, axis=2).max() < 0.01


@pytest.mark.parametrize("name", GALLERY)
def test_text_is_inside_the_figure_and_large_enough_for_a_phone(name: str) -> None:
    figure = gallery()[name]
    assert all_inside(figure)
    if figure.get_figwidth() == WIDTH_IN:
        assert min(float(text.get_fontsize()) for text in texts(figure)) * PHONE_PX / (72 * WIDTH_IN) >= 8.0
    assert figure.get_figwidth() == WIDTH_IN or name in ("beside", "circuits")


@pytest.mark.parametrize("what", PICTURES)
def test_a_name_may_hold_anything(what: str) -> None:
    case = example("roadster")
    odd = '$\\frac{1}$ <b>&" --> \n\x1b[31m $x_1$ \u6f22\U0001f3ce ' + "W" * 300
    named = Case.of(case.vehicle.model_copy(update={"name": odd}), case.catalog)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure, says = PICTURES[what](named.with_linkage_set(), "front", named.as_fitted, None)
        ElementTree.fromstring(pictures.as_svg(figure, f"{odd}: {says}"))
    assert any("$\\frac{1}$ <b>&" in text.get_text() for text in texts(figure)) and all_inside(figure)


# --- files ------------------------------------------------------------------------------------------------------------


def test_the_same_data_make_the_same_bytes_from_any_thread_and_under_any_settings() -> None:
    jobs = [("van", "mixture"), *(("roadster", what) for what in PICTURES)]

    def files(job: tuple[str, str]) -> tuple[str, bytes, str]:
        figure, says = drawn(*job)
        return pictures.as_svg(figure, says), pictures.as_png(figure, dpi=72), pictures.as_svg(figure, says)

    alone = [files(job) for job in jobs]
    assert all(first == again for first, _, again in alone), "a figure may be saved more than once"
    with matplotlib.rc_context({"xtick.major.size": 20.0, "font.size": 30.0, "svg.hashsalt": "other"}):
        with ThreadPoolExecutor(4) as threads:
            assert list(threads.map(files, jobs)) == alone
        assert matplotlib.rcParams["font.size"] == 30.0, "the user's own settings stay"


def test_several_stand_in_one_page_without_getting_in_each_others_way() -> None:
    page = "".join(pictures.as_svg(figure, f"{name} <in> words") for name, figure in gallery().items())
    root = ElementTree.fromstring(f"<div>{page}</div>")
    ids = [node.get("id") for node in root.iter() if node.get("id")]
    assert len(ids) == len(set(ids)) > 100
    used = re.findall(r'(?:href="#|url\(#)([^")]+)', page)
    assert used and set(used) <= set(ids)
    assert "<style" not in page and "style=" not in page and "<!--" not in page and "<?xml" not in page
    assert [svg.get("aria-label") for svg in root] == [f"{name} <in> words" for name in gallery()]


def test_a_picture_looks_the_same_as_svg(tmp_path: Path) -> None:
    """matplotlib's own file and the one made fit for a page hold the same strokes, attribute for declaration."""
    figure, own = gallery()["sizes"], io.StringIO()
    figure.savefig(own, format="svg")
    before = re.findall(r"stroke: (#\w+)", own.getvalue())
    after = re.findall(r'stroke="(#\w+)"', pictures.as_svg(figure))
    assert len(before) > 100 and after == before


def test_a_picture_is_in_the_units_that_were_chosen() -> None:
    """Titles and sizes with the thousandths first, a lift in thousandths; what is drawn stays what it was."""
    metric, _ = drawn("roadster", "lift")
    sizes, _ = drawn("roadster", "sizes")
    chosen_units = SHOWN.set("inch")
    try:
        lift, _ = drawn("roadster", "lift")
        in_thou, _ = drawn("roadster", "sizes")
        told = pictures.as_svg(lift, "lifts up to 0.80 mm")
    finally:
        SHOWN.reset(chosen_units)
    (mm, thou) = (figure.axes[0].lines[0].get_ydata() for figure in (metric, lift))
    np.testing.assert_allclose(np.asarray(thou), np.asarray(mm) / 0.0254)
    assert (metric.axes[0].get_ylabel(), lift.axes[0].get_ylabel()) == ("lift, mm", "lift, thou")
    assert "lifts up to 31.5 thou (0.80 mm)" in told
    ticks = [[label.get_text() for label in figure.axes[0].get_yticklabels()] for figure in (sizes, in_thou)]
    swapped = [re.sub(r"(.*) mm \((.*) thou\)", r"\2 thou (\1 mm)", text) for text in ticks[0]]
    assert ticks[1] == swapped != ticks[0]
    assert "thou (mm)" in in_thou.axes[0].get_ylabel() and "mm (thou)" in sizes.axes[0].get_ylabel()
