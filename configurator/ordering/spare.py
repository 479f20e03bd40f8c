"""What is bought that no box needs, and what for: a sum that a supplier wants, or a cheaper quantity."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from configurator.catalogue.settings import price_text
from configurator.ordering.articles import Article
from configurator.ordering.boxes import Box
from configurator.ordering.groups import Kinds
from configurator.ordering.plan import Plan, Wanted
from configurator.ordering.purchase import Market


def spare_packs(wanted: Sequence[Wanted], market: Market, kinds: Kinds, plan: Plan) -> list[int]:
    """Packs of each article of a plan without which every box would still have what it needs by its day."""
    boxes = [
        kinds.maker(one, market).box(list(box.setups.values()), list(box.nozzles.values()), box.shared)
        for one, box in zip(wanted, plan.boxes, strict=True)
    ]
    left = _left(wanted, market, plan, boxes)
    spare = []
    for article, packs in plan.bought:
        days = [(code, count, day) for code, count in article.brings.items() for day in left.get(code, {})
                if market.arrives(article) <= day]  # fmt: skip
        most = min((left[code][day] // count for code, count, day in days), default=packs)
        spare.append(max(0, min(packs, most)))
        for code, count, day in days:
            left[code][day] -= count * spare[-1]
    return spare


def _left(wanted: Sequence[Wanted], market: Market, plan: Plan, boxes: Sequence[Box]) -> dict[str, dict[date, int]]:
    """What is there of each code that is needed beyond what is needed, on the days of all vehicles."""
    left: dict[str, dict[date, int]] = defaultdict(dict)
    days = sorted({one.day for one in wanted})
    drilled = {(drill, one.day) for one, box in zip(wanted, boxes, strict=True) for _, drill in box.drills}
    owned = {drill for drill, _ in drilled if market.has_drill(drill)}
    bought = {code for article, _ in plan.bought for code in article.brings}
    bits = {
        drill: next((code for code in market.drills_of(drill) if code in bought), "") for drill, _ in drilled - owned
    }
    for day in days:
        needs: dict[str, int] = defaultdict(int)
        for one, box in zip(wanted, boxes, strict=True):
            for code, count in box.takes.items():
                needs[code] += count * (one.day <= day)
            for code, count in box.frees.items():
                needs[code] -= count * (one.day < day)
        for drill, when in drilled:
            if drill in bits and when <= day:
                needs[bits[drill]] = 1
        for code, count in needs.items():
            arrived = sum(
                packs * article.brings.get(code, 0) for article, packs in plan.bought if market.arrives(article) <= day
            )
            left[code][day] = market.shelf.get(code, 0) + arrived - count
    return left


def filled_for(market: Market, supplier: str, bought: Sequence[tuple[Article, int, int]], currency: str) -> str | None:
    """What the spare packs among those bought from a supplier, as (article, packs, spare), are for."""
    own = [(article, packs, spare) for article, packs, spare in bought if article.supplier == supplier]
    if not any(spare for _, _, spare in own):
        return None
    terms, goods = market.suppliers[supplier], sum(article.cost(packs) for article, packs, _ in own)
    needed = sum(article.cost(packs - spare) for article, packs, spare in own)
    if needed < 100 * terms.minimum_order:
        return f"the {price_text(terms.minimum_order, currency)} from which it takes an order"
    if terms.free_delivery_from is not None and needed < 100 * terms.free_delivery_from <= goods:
        return (
            f"the {terms.free_delivery_from:.2f} from which delivery is free, which saves {terms.delivery_charge:.2f}"
        )
    return "a cheaper quantity" if needed >= goods else "whole packs"
