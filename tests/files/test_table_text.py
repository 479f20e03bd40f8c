"""A table changed in its own text: what was asked for changes, every other sign stays, and the reader reads it back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from configurator.files.reading import table_of, text_of
from configurator.files.table_text import TableText, new_table

KEPT = (
    "\ufeff# prices of 2026, by Ada\r\n"
    'code ; price;"na;me"\r\n'
    "\r\n"
    '# old ones\r\na; 1,50 ;"x ""y"""\r\n'
    "b;2"
).encode()  # fmt: skip


def read_back(content: bytes) -> list[dict[str, str]]:
    table = table_of(text_of(content, "t"), "t")
    assert not table.faults
    return [row.cells for row in table.rows]


def test_a_table_that_is_not_changed_is_the_same_bytes() -> None:
    assert TableText(KEPT, "t").content() == KEPT


def test_rows_and_cells_change_and_everything_else_stays() -> None:
    table = TableText(KEPT, "t")
    assert table.columns == ["code", "price", "na;me"] and table.numbers_by("code")["a"] == 5
    table.set_cells(5, {"price": "1.75"})
    assert table.add_row({"code": "c", "price": "3.25", "na;me": "p;q"}) == 7
    assert table.content() == KEPT.replace(b" 1,50 ", b"1,75") + b'\r\nc;3,25;"p;q"\r\n'
    assert table.cells_of(7) == {"code": "c", "price": "3.25", "na;me": "p;q"}
    assert read_back(table.content())[0] == {"code": "a", "price": "1.75", "na;me": 'x "y"'}


def test_a_column_that_is_not_there_comes_behind_the_others() -> None:
    table = TableText(KEPT, "t")
    table.set_cells(6, {"free": "yes"})
    assert table.content() == KEPT.replace(b'"na;me"', b'"na;me";free').replace(b"b;2", b"b;2;;yes")


def test_a_decimal_point_stays_one_where_the_file_has_no_decimal_comma() -> None:
    table = TableText(b"code;price\na;1.50\n", "t")
    table.set_cells(2, {"price": "1.75"})
    assert table.content() == b"code;price\na;1.75\n"


def test_a_comment_is_no_row_and_a_number_drill_no_comment() -> None:
    content = b"# sizes, as drilled\ndiameter_mm,code\n#68,a\n# b,c\n# 70,d\n"
    assert read_back(content) == [{"diameter_mm": "#68", "code": "a"}, {"diameter_mm": "# 70", "code": "d"}]
    assert TableText(content, "t").numbers_by("code") == {"a": 3, "d": 5}


def test_a_cell_of_two_lines_is_one_row() -> None:
    table = TableText(b'code,note\na,"one\ntwo"\nb,x\n', "t")
    table.set_cells(3, {"note": "y"})
    assert table.content() == b'code,note\na,"one\ntwo"\nb,y\n'


def test_a_new_table_takes_rows() -> None:
    table = TableText(new_table(["code", "price"]), "t")
    table.add_row({"price": "1", "code": "a"})
    assert table.content() == b"code,price\na,1\n"


cells = st.text(st.characters(codec="utf-8", exclude_characters="\0\ufeff", exclude_categories=["Cs"]), max_size=8)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@given(texts=st.lists(st.tuples(cells, cells), min_size=1, max_size=4), row=st.integers(0, 3), text=cells)
def test_whatever_a_cell_holds_is_read_back(delimiter: str, texts: list[tuple[str, str]], row: int, text: str) -> None:
    table = TableText(f"code{delimiter}note\n".encode(), "t")
    for number, (one, other) in enumerate(texts):
        table.add_row({"code": f"k{number}{one}", "note": other})
    place = row % len(texts)
    table.set_cells(place + 2, {"note": text})
    expected = [other for _, other in texts]
    expected[place] = text
    found = table_of(text_of(table.content(), "t"), "t").rows
    assert len(found) == len(texts)
    for line, other in zip(found, expected, strict=True):
        if delimiter != ";":
            assert line.cells.get("note", "") == other.strip()
    assert TableText(table.content(), "t").content() == table.content()
