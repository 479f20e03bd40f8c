"""The parts order as text and as a supplier's list."""

import csv
import io
from collections.abc import Iterable

from tabulate import tabulate

from configurator.ordering.report import CurvePoint, LineFor, OrderReport
from configurator.views.marks import mark
from configurator.views.tables import counted, wrapped


def order_text(report: OrderReport) -> str:
    """What to buy from whom first; then why; then what money would buy more."""
    lines = [f"{mark('YES' if report.ok else 'NO')}  {report.name}: {order_verdict(report)}"]
    lines += [wrapped(f"{v.vehicle}, {first}", " " * 9, "  First: ") for v in report.vehicles for first in v.first]
    lines += ["", *_supplier_lines(report)]
    lines += [f"Work on parts (drilling, relieving a pad): {report.work:.2f}", ""] if report.work else []
    lines += _short_lines(report)
    lines += [_vehicles_table(report), ""]
    lines += _box_lines(report)
    if report.curve:
        lines += ["What more or less money would buy:", _curve_table(report.curve), ""]
    proven = "nothing does better by what is counted" if report.proven else f"there may be a better one; {report.bound}"
    lines += [wrapped(note, "  ", "* ") for note in (f"Of this order: {proven}.", *report.notes)]
    return "\n".join(lines)


def order_verdict(report: OrderReport) -> str:
    """The sum, and how far it goes."""
    cars = len(report.vehicles)
    short = sum(not car.enough for car in report.vehicles)
    less = f"{short} of {counted(cars, 'car')} less sure to be right than wanted"
    goes = "every car gets as sure to be right as wanted" if report.ok else less
    if not report.total:
        return f"nothing to buy; {goes}" if cars else "nothing to buy for any car"
    return f"order for {report.total:.2f}; {goes}"


def _supplier_lines(report: OrderReport) -> Iterable[str]:
    for supplier in report.suppliers:
        delivery = f"delivery {supplier.delivery:.2f}" if supplier.delivery else "no delivery charge"
        yield (
            f"Call {supplier.supplier}: {supplier.total:.2f} (goods {supplier.goods:.2f}, {delivery}), "
            f"there on {supplier.delivery_day}"
        )
        rows = [
            [line.quantity, line.called, f"{line.price:.2f}", f"{line.total:.2f}", what_for(line.wanted_for)]
            for line in report.lines if line.supplier == supplier.supplier
        ]  # fmt: skip
        yield tabulate(rows, headers=["number", "code", "each", "total", "for"], disable_numparse=True)
        yield ""


def _short_lines(report: OrderReport) -> Iterable[str]:
    for one in report.failing:
        yield f"  {one.vehicle}: {_percent(one.wanted)} wanted, {_percent(one.best)} is the most there is by its day"
    if report.ways_out:
        yield "Ways out, cheapest first:"
        yield from (wrapped(f"{way.says}: {way.cost:.2f}" if way.cost is not None else way.says, "    ", "  - ")
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


def what_for(wanted_for: Iterable[LineFor]) -> str:
    """The cars that a line of an order is for."""
    cars = list(dict.fromkeys(use.vehicle for use in wanted_for))
    if len(cars) > MOST_NAMED:
        return f"{len(cars)} cars"
    return "; ".join(cars) or "fills the order up: a least value, or a cheaper quantity"


def _box_lines(report: OrderReport) -> Iterable[str]:
    for vehicle in report.vehicles:
        yield f"Box for {vehicle.vehicle}:"
        for circuit, setups in vehicle.setups.items():
            for setup in setups:
                yield wrapped(f"{circuit}: {setup}", "      ", "  - ")
            for nozzle in vehicle.nozzles[circuit]:
                yield f"      {nozzle}"
        yield from (f"  - {stack}" for stack in vehicle.stack)
        yield ""


def _curve_table(curve: Iterable[CurvePoint]) -> str:
    rows = [
        [f"{p.budget:.2f}", f"{p.spent:.2f}", _percent(p.sureness), _percent(p.least), "" if p.proven else "at least"]
        for p in curve
    ]
    return tabulate(rows, headers=["up to", "spent", "sure, all cars", "least sure car", ""], disable_numparse=True)


def supplier_csv(report: OrderReport, supplier: str) -> str:
    """The lines of one supplier as a table it can read: code, quantity, price, total, delivery day."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["code", "quantity", "price", "total", "delivery_day"])
    for line in report.lines:
        if line.supplier == supplier:
            writer.writerow([line.code, line.quantity, f"{line.price:.2f}", f"{line.total:.2f}", line.delivery_day])
    return out.getvalue()
