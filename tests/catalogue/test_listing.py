"""Listing the catalogue: tests on columns, what comes nearest to nothing found, and tables that fit the page."""

import json
from itertools import pairwise

import pytest

from configurator.catalogue.listing import list_parts
from configurator.catalogue.load import FAMILIES, load_catalog, shipped_catalog_dir
from configurator.errors import BadInput
from configurator.views.tables import WIDTH, parts_text

CATALOG = load_catalog(shipped_catalog_dir())
PRICES = {part.code: part.price for part in CATALOG.feed_screws.values()}
SOME_PRICE = sorted(PRICES.values())[1]


def codes(family: str, *tests: str) -> set[str]:
    return {row["code"] for row in list_parts(CATALOG, family, tests).rows}


@pytest.mark.parametrize(
    ("sign", "holds"),
    [
        ("<", lambda price: price < SOME_PRICE),
        ("<=", lambda price: price <= SOME_PRICE),
        (">", lambda price: price > SOME_PRICE),
        (">=", lambda price: price >= SOME_PRICE),
        ("=", lambda price: price == SOME_PRICE),
    ],
    ids=lambda sign: sign if isinstance(sign, str) else "",
)
def test_every_sign(sign, holds) -> None:  # type: ignore[no-untyped-def]
    expected = {code for code, price in PRICES.items() if holds(price)}
    assert 0 < len(expected) < len(PRICES)
    assert codes("feed_screws", f"price{sign}{SOME_PRICE}") == expected
    assert codes("feed_screws", f" price {sign} {SOME_PRICE} ") == expected


def test_a_size_in_another_unit_is_compared_as_a_length() -> None:
    wanted = {part.code for part in CATALOG.nozzles.values() if 0.79 < part.diameter_mm < 0.83}
    assert codes("nozzles", "diameter_mm>0.0311 in", "diameter_mm<0.83mm") == wanted
    on_the_edge = next(iter(CATALOG.nozzles.values()))
    size = f"{on_the_edge.diameter_mm}mm"
    assert on_the_edge.code in codes("nozzles", f"diameter_mm>={size}")
    assert on_the_edge.code not in codes("nozzles", f"diameter_mm>{size}") | codes("nozzles", f"diameter_mm<{size}")


def test_text_is_compared_whatever_its_case_and_a_sign_in_it_counts_for_nothing() -> None:
    assert codes("nozzles", "style=AIMED") == {part.code for part in CATALOG.nozzles.values() if part.style == "aimed"}
    assert not codes("nozzles", "supplier=a<b")


@pytest.mark.parametrize(
    ("test", "words"),
    [
        ("0.8mm", "where 0.8mm: is no test; expected a column, one of >= <= > < = and a value"),
        ("prise<3", "feed_screws have no column prise; expected one of code, "),
        ("prise<3", "did you mean price?"),
        ("price<cheap", "price is compared with 'cheap'; expected a number"),
        ("price=>3", "price is compared with '>3'; expected a number"),
        ("price<nan", "price is compared with 'nan'; expected a number"),
        ("code>3", "code holds no numbers; expected code=VALUE"),
    ],
)
def test_a_test_that_cannot_be_made(test: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        list_parts(CATALOG, "feed_screws", [test])
    assert words in str(caught.value)


def test_a_size_without_sense_is_refused_with_what_was_meant() -> None:
    with pytest.raises(BadInput) as caught:
        list_parts(CATALOG, "nozzles", ["diameter_mm=31"])
    assert 'did you mean "31 thou"?' in str(caught.value)


@pytest.mark.parametrize("style", ["straight", "aimed"])
def test_the_sizes_on_either_side_of_one_there_is_not(style: str) -> None:
    sizes = sorted(part.diameter_mm for part in CATALOG.nozzles.values() if part.style == style)
    low, high = next(pair for pair in pairwise(sizes) if pair[1] - pair[0] > 0.015)
    report = list_parts(CATALOG, "nozzles", [f"diameter_mm={(low + high) / 2}", f"style={style}"])
    assert report.rows == []
    assert report.nearest.startswith(f"the nearest diameter_mm: {low:.2f} mm (")
    assert f" and {high:.2f} mm (" in report.nearest
    assert parts_text(report.family, report.rows, report.nearest) == f"nozzles: none; {report.nearest}"


def test_beyond_the_largest_size_the_two_largest_are_named() -> None:
    sizes = sorted({part.diameter_mm for part in CATALOG.nozzles.values()})
    nearest = list_parts(CATALOG, "nozzles", ["diameter_mm>=2.9"]).nearest
    assert f"{sizes[-2]:.2f} mm" in nearest and f"{sizes[-1]:.2f} mm" in nearest


def test_a_word_that_no_row_has_is_answered_with_the_one_it_is_like() -> None:
    assert list_parts(CATALOG, "nozzles", ["style=strait"]).nearest == "did you mean straight?"
    assert list_parts(CATALOG, "nozzles", ["style=straight"]).nearest == ""


@pytest.mark.parametrize("family", FAMILIES)
def test_a_table_fits_the_page_and_leaves_nothing_out(family: str) -> None:
    report = list_parts(CATALOG, family, [])
    text = parts_text(family, report.rows)
    assert max(map(len, text.splitlines())) <= WIDTH
    letters = "".join(text.split())
    assert all(word in letters for row in report.rows for cell in row.values() for word in cell.split())
    assert all(part in text for row in report.rows[:1] for name in row for part in name.split("_"))


def test_code_and_price_come_first() -> None:
    heading = parts_text("lobes", list_parts(CATALOG, "lobes", []).rows).splitlines()[1]
    assert heading.split()[:2] == ["code", "price"]


def test_what_is_the_same_in_every_row_is_said_once_and_a_price_stays() -> None:
    rows = [{"code": f"n-{size}", "size": str(size), "price": "1.00", "supplier": "bay-shop"} for size in (1, 2, 3)]
    text = parts_text("nozzles", rows)
    assert text.count("bay-shop") == 1 and text.endswith("\n\nall: supplier bay-shop")
    assert text.count("1.00") == 3
    assert parts_text("nozzles", rows[:2]).count("bay-shop") == 2


def test_a_few_wide_rows_lie_on_their_side() -> None:
    rows = [{"code": code, **{f"figure_{n}_of_it_mm": str(n) for n in range(20)}} for code in ("p-one", "p-two")]
    lines = parts_text("pumps", rows).splitlines()
    assert lines[1].split() == ["code", "p-one", "p-two"]
    assert lines[-1].split() == ["figure_19_of_it_mm", "19", "19"]


def test_json_keeps_every_column_of_every_row() -> None:
    rows = json.loads(list_parts(CATALOG, "nozzles", []).model_dump_json())["rows"]
    assert len(rows) == len(CATALOG.nozzles)
    assert {"length_mm", "orifices", "labour_min", "supplier"} <= set(rows[0])
