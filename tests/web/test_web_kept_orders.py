"""Orders that are kept: an address each, sent, arrived and on the shelf, once however often it is said."""

import csv
import io
import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_page import OWN_FORM, browser, page_of, workshop_in

from configurator.book.book import open_book
from configurator.errors import BadInput
from configurator.ordering.report import LineFor, OrderLine, OrderReport, SupplierTotal
from configurator.web.workshop import Workshop

SOON = (date.today() + timedelta(days=7)).isoformat()
FOR = [LineFor(vehicle="Marshals' van", circuit="front", lets_try="a size")]


def line(supplier: str, code: str, quantity: int, brings: dict[str, int], part: str | None, price: float) -> OrderLine:
    return OrderLine(
        supplier=supplier, code=code, part=part, quantity=quantity, brings=brings, price=price,
        total=round(price * quantity, 2), delivery_day=SOON, wanted_for=FOR,
    )  # fmt: skip


def total(supplier: str, goods: float) -> SupplierTotal:
    return SupplierTotal(supplier=supplier, goods=goods, delivery=0, total=goods, delivery_day=SOON)


REPORT = OrderReport(
    name="<Spring> meeting", ok=True, proven=True, bound=None,
    lines=[line("north-shelf", "straight-0.80", 2, {"straight-0.80": 2}, "straight-0.80", 16.2),
           line("north-shelf", "straight-0.85", 1, {"straight-0.80": 1}, "straight-0.80", 16.2),
           line("long-bench", "kit-of-some", 1, {"straight-0.75": 1, "straight-0.70": 2}, None, 40.0)],
    suppliers=[total("long-bench", 40.0), total("north-shelf", 48.6)],
    work=0, total=88.6, currency="EUR", vehicles=[], left_alone=[], curve=[], failing=[], ways_out=[], notes=[],
)  # fmt: skip


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return workshop_in(tmp_path / "cars", "van", "roadster")


@pytest.fixture
def client(workshop: Workshop) -> TestClient:
    return browser(page_of(workshop))


@pytest.fixture
def kept(workshop: Workshop) -> int:
    with open_book(workshop.book) as book:
        return book.orders.keep(REPORT.name, REPORT.model_dump_json(), ["long-bench", "north-shelf"]).number


def stock(workshop: Workshop) -> dict[str, int]:
    with open_book(workshop.book) as book:
        return book.stock()


def test_a_plan_is_kept_and_has_an_address(workshop: Workshop, client: TestClient) -> None:
    assert "No order is kept yet" in client.get("/orders").text and not Path(str(workshop.book)).exists()
    plan = client.get(f"/order/plan?car=roadster&day:roadster={SOON}&sure=80&one_supplier=y&no_redrill=y").text
    key = re.findall(r'name="key" value="(\w+)"', plan)[0]
    answer = client.post("/orders", data={"key": key}, headers=OWN_FORM)
    assert answer.url.path == "/orders/1" and "Parts order" in answer.text
    assert client.post("/orders", data={"key": key}, headers=OWN_FORM).url.path == "/orders/1", "once"
    assert 'href="/orders/1"' in client.get("/orders").text and "to be sent" in client.get("/orders").text
    lost = client.post("/orders", data={"key": "0" * 64}, headers=OWN_FORM)
    assert lost.status_code == 409 and "Plan it again" in lost.text
    after = browser(page_of(workshop))
    assert after.get("/orders/1").status_code == 200, "also after a new start"


def test_an_order_goes_out_comes_in_and_is_on_the_shelf(workshop: Workshop, client: TestClient, kept: int) -> None:
    page = f"/orders/{kept}/north-shelf"
    text = unescape(client.get(page).text)
    assert "North Shelf Stores" in text and "<td>nozzle</td>" in text and "48.60 EUR" in text
    sent = client.post(f"{page}/sent", headers=OWN_FORM)
    assert f"Sent on {date.today()}" in sent.text and stock(workshop) == {}
    fields = dict(re.findall(r'name="(got:[^"]*)" value="(\d+)"', sent.text))
    assert fields == {"got:straight-0.80": "2", "got:straight-0.85": "1"}
    came = client.post(f"{page}/arrived", data=fields | {"got:straight-0.85": "0"}, headers=OWN_FORM)
    assert f"arrived on {date.today()}" in came.text and stock(workshop) == {"straight-0.80": 2}
    again = client.post(f"{page}/arrived", data=fields, headers=OWN_FORM)
    assert again.status_code == 200 and stock(workshop) == {"straight-0.80": 2}
    with open_book(workshop.book) as book:
        assert [move.why for move in book.stock_history()] == [f"order {kept}, from north-shelf"]
    whole = unescape(client.get(f"/orders/{kept}").text)
    assert "arrived on" in whole and "Long Bench Supply" in whole and "to be sent" in whole


def test_what_a_kit_holds_goes_on_the_shelf(client: TestClient, kept: int) -> None:
    text = client.get(f"/orders/{kept}/long-bench").text
    assert dict(re.findall(r'name="(got:[^"]*)" value="(\d+)"', text)) == {
        "got:straight-0.75": "1", "got:straight-0.70": "2",
    }  # fmt: skip


@pytest.mark.parametrize("number", ["", "-1", "1_0", "\u0661", "1.5", "9" * 9, "1\0"])
def test_what_cannot_have_come_is_refused_and_nothing_booked(
    workshop: Workshop, client: TestClient, kept: int, number: str
) -> None:
    fields = {"got:straight-0.85": "1", "got:straight-0.80": number}
    assert client.post(f"/orders/{kept}/north-shelf/arrived", data=fields, headers=OWN_FORM).status_code == 400
    assert stock(workshop) == {} and "on the shelf" not in client.get(f"/orders/{kept}").text


def test_a_part_that_nobody_knows_is_refused(workshop: Workshop, client: TestClient, kept: int) -> None:
    fields = {"got:straight-0.85": "1", "got:nothing": "1"}
    answer = client.post(f"/orders/{kept}/north-shelf/arrived", data=fields, headers=OWN_FORM)
    assert answer.status_code == 400 and "nothing" in answer.text and stock(workshop) == {}


def test_two_phones_that_say_it_arrived_book_it_once(workshop: Workshop, client: TestClient, kept: int) -> None:
    def say() -> None:
        with open_book(workshop.book) as book:
            book.orders.arrived(kept, "north-shelf", {"straight-0.80": 2})

    with ThreadPoolExecutor(8) as threads:
        for one in [threads.submit(say) for _ in range(8)]:
            one.result()
    assert stock(workshop) == {"straight-0.80": 2}


def test_more_than_a_shelf_holds_leaves_the_order_open(workshop: Workshop, kept: int) -> None:
    with open_book(workshop.book) as book:
        with pytest.raises(BadInput, match="at most"):
            book.orders.arrived(kept, "north-shelf", {"straight-0.80": 1, "straight-0.85": 10**6})
        parcel = book.orders.order(kept).parcel("north-shelf")
        assert parcel is not None and parcel.arrived_at is None and book.stock() == {}


def test_a_supplier_gets_a_table_and_a_text(client: TestClient, kept: int) -> None:
    answer = client.get(f"/orders/{kept}/north-shelf.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert f"order-{kept}-north-shelf.csv" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["code"], row["quantity"], row["currency"]) for row in rows] == [
        ("straight-0.80", "2", "EUR"), ("straight-0.85", "1", "EUR"),
    ]  # fmt: skip
    text = unescape(client.get(f"/orders/{kept}/north-shelf").text)
    assert "Order to North Shelf Stores\n\n   2 x straight-0.80  32.40 EUR" in text


@pytest.mark.parametrize("path", ["/orders/99", "/orders/0", "/orders/x", "/orders/1/nobody", "/orders/1/nobody.csv"])
def test_an_order_that_is_none_is_not_there(client: TestClient, kept: int, path: str) -> None:
    assert kept == 1 and client.get(path).status_code == 404
    assert client.post(f"{path}/sent", headers=OWN_FORM).status_code in (404, 405)


def test_no_book_is_made_by_looking(workshop: Workshop, client: TestClient) -> None:
    assert client.get("/orders/1").status_code == 404 and client.get("/orders").status_code == 200
    assert not Path(str(workshop.book)).exists()


def test_a_form_from_elsewhere_and_markup_do_nothing(client: TestClient, kept: int) -> None:
    for path in ("/orders", f"/orders/{kept}/north-shelf/sent", f"/orders/{kept}/north-shelf/arrived"):
        assert client.post(path, headers={"origin": "http://evil.example"}).status_code == 403
    assert "<Spring>" not in client.get("/orders").text + client.get(f"/orders/{kept}").text
