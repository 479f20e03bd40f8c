"""Sureness against money: drawn into a figure, and in words."""

from functools import partial

from configurator.catalogue.settings import price_text
from configurator.ordering.report import OrderReport
from configurator.views.picture_style import (
    DARK,
    INK,
    MIDDLE,
    Figure,
    headed,
    house_style,
    key_below,
    laid_out,
    new_figure,
    titled,
)


@house_style()
def money_picture(report: OrderReport) -> Figure:
    """How sure vehicles get for an amount of money, this order marked. Raises TipinError without matplotlib."""
    money = partial(price_text, currency=report.currency)
    figure = new_figure(4.2)
    axes = figure.subplots()
    spent = [point.spent for point in report.curve]
    for label, look, shares in (
        ("mean of the vehicles", {"color": INK, "linestyle": "-", "marker": "o"}, [p.sureness for p in report.curve]),
        ("least sure vehicle", {"color": MIDDLE, "linestyle": "--", "marker": "s"}, [p.least for p in report.curve]),
    ):
        percent = [100.0 * share for share in shares]
        axes.step(spent, percent, where="post", label=label, markersize=5, linewidth=1.8, **look)
        cut_short = [(x, y) for x, y, point in zip(spent, percent, report.curve, strict=True) if not point.proven]
        if cut_short:
            axes.plot(*zip(*cut_short, strict=True), **(look | {"linestyle": "none"}), markersize=5,
                      markerfacecolor="1.0", label=f"{label}: at least")  # fmt: skip
    axes.axvline(report.total, color=DARK, linestyle=":", linewidth=1.6, label=f"this order, {money(report.total)}")
    currency = report.currency or "in the workshop's currency"
    axes.set(xlabel=f"money spent, {currency}", ylabel="sureness, %", ylim=(0, 102))
    axes.set_xlim(left=0.0)
    titled(axes, report.name)
    headed(figure, "What money buys")
    key_below(figure, axes)
    return laid_out(figure)


def says_of_money(report: OrderReport) -> str:
    """What this order costs and makes of the vehicles, and what nothing would."""
    money = partial(price_text, currency=report.currency)
    after = [vehicle.after for vehicle in report.vehicles]
    says = f"This order costs {money(report.total)}"
    if after:
        which = f"the least sure of {len(after)} vehicles" if len(after) > 1 else "the vehicle"
        says += f" and makes {which} {100 * min(after):.0f} % sure"
    if not report.curve:
        return f"{says}."
    first, last = report.curve[0], report.curve[-1]
    return (
        f"{says}. The mean sureness rises from {100 * first.sureness:.0f} % for {money(first.spent)} to "
        f"{100 * last.sureness:.0f} % for {money(last.spent)}."
    )
