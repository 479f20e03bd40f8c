"""The parts order as text and as a supplier's list."""

import csv
import io
from collections.abc import Iterable
from typing import Any

from tabulate import tabulate

from configurator.ordering.report import CurvePoint, OrderReport
from configurator.views.marks import mark
from configurator.views.tables import wrapped


def order_text(report: OrderReport) -> str:
    if report.ok:
        lines = [f"{mark('YES')}  {report.name}: {report.total:.2f} makes every vehicle as sure as wanted"]
    else:
        nearest = f"the nearest costs {report.total:.2f}"
        lines = [f"{mark('NO')}  {report.name}: not every vehicle gets as sure as wanted; {nearest}"]
    how = "proven: nothing does better" if report.proven else f"there may be a better one; {report.bound}"
    lines += [f"     ({how})", ""]
    lines += _failing_lines(report)
    lines += [_vehicles_table(report), ""]
    lines += [wrapped(f"{v.vehicle}, {first}", "    ", "  First: ") for v in report.vehicles for first in v.first]
    lines += [""] if any(v.first for v in report.vehicles) else []
    for supplier in report.suppliers:
        lines.append(
            f"Order to {supplier.supplier}: goods {supplier.goods:.2f}, delivery {supplier.delivery:.2f}, "
            f"there on {supplier.delivery_day}"
        )
        rows = [
            [line.quantity, line.called, f"{line.price:.2f}", f"{line.total:.2f}", _purpose(line.wanted_for)]
            for line in report.lines if line.supplier == supplier.supplier
        ]  # fmt: skip
        lines += [tabulate(rows, headers=["number", "code", "each", "total", "for"], disable_numparse=True), ""]
    lines += _box_lines(report)
    if report.curve:
        lines += ["What money buys (mean sureness, no more counted than is wanted):", _curve_table(report.curve), ""]
    lines += [wrapped(note, "  ", "* ") for note in report.notes]
    return "\n".join(lines)


def _failing_lines(report: OrderReport) -> Iterable[str]:
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
    headings = ["vehicle", "runs on", "wanted", "before", "after", "judged"]
    return tabulate(rows, headers=headings, disable_numparse=True)


def _percent(share: float | None) -> str:
    return "?" if share is None else f"{100 * share:.0f} %"


def _purpose(wanted_for: Iterable[Any]) -> str:
    vehicles = dict.fromkeys(f"{use.vehicle}{', ' + use.circuit if use.circuit else ''}" for use in wanted_for)
    return "; ".join(vehicles) or "fills the order up: a least value, or a cheaper quantity"


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
    return tabulate(rows, headers=["up to", "spent", "mean", "least sure", ""], disable_numparse=True)


def supplier_csv(report: OrderReport, supplier: str) -> str:
    """The lines of one supplier as a table it can read: code, quantity, price, total, delivery day."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["code", "quantity", "price", "total", "delivery_day"])
    for line in report.lines:
        if line.supplier == supplier:
            writer.writerow([line.code, line.quantity, f"{line.price:.2f}", f"{line.total:.2f}", line.delivery_day])
    return out.getvalue()
