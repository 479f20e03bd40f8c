"""The parts order as text and as a supplier's list."""

import csv
import io
from collections.abc import Iterable
from functools import partial

from tabulate import tabulate

from configurator.catalogue.settings import price_text
from configurator.ordering.report import OrderLine, OrderReport
from configurator.views.marks import mark
from configurator.views.tables import counted, wrapped


def order_text(report: OrderReport) -> str:
    """What to buy from whom first; then why; then what money would buy more."""
    money = partial(price_text, currency=report.currency)
    lines = [f"{mark('YES' if report.ok else 'NO')}  {report.name}: {order_verdict(report)}"]
    lines += [wrapped(f"{v.vehicle}, {first}", " " * 9, "  First: ") for v in report.vehicles for first in v.first]
    lines += ["", *_supplier_lines(report)]
    labour = f", and labour at {money(report.labour_per_hour)} an hour" if report.labour_per_hour else ""
    lines += [f"Work on parts (drilling, relieving a pad{labour}): {money(report.work)}", ""] if report.work else []
    lines += _short_lines(report)
    lines += [_vehicles_table(report), ""]
    lines += _box_lines(report)
    if report.curve:
        lines += ["What more or less money would buy:", _curve_table(report), ""]
    proven = "nothing does better by what is counted" if report.proven else f"there may be a better one; {report.bound}"
    lines += [wrapped(note, "  ", "* ") for note in (f"Of this order: {proven}.", *report.notes)]
    return "\n".join(lines)


def order_verdict(report: OrderReport) -> str:
    """The sum, and how far it goes."""
    money = partial(price_text, currency=report.currency)
    cars = len(report.vehicles)
    short = sum(not car.enough for car in report.vehicles)
    less = f"{short} of {counted(cars, 'car')} less sure to be right than wanted"
    goes = "every car gets as sure to be right as wanted" if report.ok else less
    if not report.total:
        return f"nothing to buy; {goes}" if cars else "nothing to buy for any car"
    return f"order for {money(report.total)}; {goes}"


def _supplier_lines(report: OrderReport) -> Iterable[str]:
    money = partial(price_text, currency=report.currency)
    for supplier in report.suppliers:
        delivery = f"delivery {money(supplier.delivery)}" if supplier.delivery else "no delivery charge"
        yield (
            f"Call {supplier.supplier}: {money(supplier.total)} (goods {money(supplier.goods)}, {delivery}), "
            f"there on {supplier.delivery_day}"
        )
        rows = [
            [line.quantity, line.called, money(line.price), money(line.total), what_for(line)]
            for line in report.lines if line.supplier == supplier.supplier
        ]  # fmt: skip
        yield tabulate(rows, headers=["number", "code", "each", "total", "for"], disable_numparse=True)
        if supplier.fill:
            yield wrapped(f"What no box needs makes up {supplier.fill}. It can be refused.", "  ", "  ")
        yield ""


def _short_lines(report: OrderReport) -> Iterable[str]:
    money = partial(price_text, currency=report.currency)
    for one in report.failing:
        yield f"  {one.vehicle}: {_percent(one.wanted)} wanted, {_percent(one.best)} is the most there is by its day"
        if one.would_do:
            yield "    a part that the catalogue lacks would do (ask a supplier), any one of:"
            yield from (wrapped(part, " " * 8, "      - ") for part in one.would_do)
    if report.ways_out:
        yield "Ways out, cheapest first:"
        yield from (wrapped(f"{way.says}: {money(way.cost)}" if way.cost is not None else way.says, "    ", "  - ")
                    for way in report.ways_out)  # fmt: skip
    if report.failing or report.ways_out:
        yield ""


def _vehicles_table(report: OrderReport) -> str:
    rows = [
        [v.vehicle, v.day, _percent(v.wanted), _percent(v.before), _percent(v.after), v.says] for v in report.vehicles
    ]
    rows += [[v.vehicle, v.day, "-", "-", "-", v.says] for v in report.left_alone]
    headings = ["car", "runs on", "sure wanted", "from the shelf", "with the order", "judged"]
    return tabulate(rows, headers=headings, disable_numparse=True, maxcolwidths=[None] * 5 + [44])


def _percent(share: float | None) -> str:
    return "?" if share is None else f"{100 * share:.0f} %"


MOST_NAMED = 2
"""Cars that a line of an order names; more are counted: what each box holds stands below."""


def what_for(line: OrderLine) -> str:
    """The cars that a line of an order is for, and how many of it are for none."""
    cars = list(dict.fromkeys(use.vehicle for use in line.wanted_for))
    named = f"{len(cars)} cars" if len(cars) > MOST_NAMED else "; ".join(cars)
    if not cars:
        return "fills the order up"
    return f"{named}; {line.spare} to fill the order up" if line.spare else named


def _box_lines(report: OrderReport) -> Iterable[str]:
    for vehicle in report.vehicles:
        if not any([*vehicle.setups.values(), *vehicle.nozzles.values(), vehicle.stack]):
            continue
        yield f"Box for {vehicle.vehicle}:"
        for circuit, setups in vehicle.setups.items():
            for setup in setups:
                yield wrapped(f"{circuit}: {setup}", "      ", "  - ")
            for nozzle in vehicle.nozzles[circuit]:
                yield f"      {nozzle}"
        yield from (f"  - {stack}" for stack in vehicle.stack)
        yield ""


def _curve_table(report: OrderReport) -> str:
    money = partial(price_text, currency=report.currency)
    rows = [
        [money(p.budget), money(p.spent), _percent(p.sureness), _percent(p.least), "" if p.proven else "at least"]
        for p in report.curve
    ]
    return tabulate(rows, headers=["up to", "spent", "sure, all cars", "least sure car", ""], disable_numparse=True)


def supplier_csv(report: OrderReport, supplier: str) -> str:
    """The lines of one supplier as a table it can read: code, quantity, price, total, delivery day; and the currency,
    where one is named."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["code", "quantity", "price", "total", "delivery_day", *(["currency"] if report.currency else [])])
    for line in report.lines:
        if line.supplier == supplier:
            amounts = [price_text(line.price), price_text(line.total)]
            writer.writerow([line.code, line.quantity, *amounts, line.delivery_day, *filter(None, [report.currency])])
    return out.getvalue()


def supplier_text(report: OrderReport, supplier: str, called: str) -> str:
    """The lines of one supplier as a letter has them."""
    lines = [line for line in report.lines if line.supplier == supplier]
    codes = max(len(line.code) for line in lines)
    money = partial(price_text, currency=report.currency)
    rows = [f"{line.quantity:4} x {line.code:{codes}}  {money(line.total)}" for line in lines]
    return "\n".join([f"Order to {called}", "", *rows, "", f"Goods {money(sum(line.total for line in lines))}"])
