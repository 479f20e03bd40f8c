"""Orders whose boxes are as sure as wanted over all that is believed of each engine.

A search counts scenarios, which stand for the belief to a few per cent. Each box found is judged over the whole of it;
where that comes to less than is wanted, or what is wanted is reached with fewer scenarios, more or fewer are asked for.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from configurator.ordering.cheapest import plan_order, surest
from configurator.ordering.groups import Kinds
from configurator.ordering.plan import BoxPlan, Plan, PurchaseWish, Wanted
from configurator.ordering.purchase import Market
from configurator.solver.solution import Unsettled

NOT_SHORT = 0.005
"""Sureness is told in whole per cent: what is short by less is not short."""
MOST_ASKED = 6


def is_sure(one: Wanted, box: BoxPlan) -> bool:
    """Whether a vehicle is as sure as wanted with a box."""
    return box.sureness >= one.sureness - NOT_SHORT


def plan_sure(wanted: Sequence[Wanted], market: Market, wish: PurchaseWish, kinds: Kinds) -> Plan:
    """The cheapest order found that makes every vehicle as sure as wanted, or the one that comes nearest; within a
    budget the surest. kinds : of orders before, whose boxes may serve. Raises Unsettled where none was found within the
    effort."""
    first = plan_order(wanted, market, wish, kinds)
    plan = best = first or surest(wanted, market, wish, kinds)
    asked = list(wanted)
    for _ in range(MOST_ASKED):
        if wish.budget is not None or plan.stopped or not _short(wanted, plan):
            break
        more = [_asked(one, box) for one, box in zip(asked, plan.boxes, strict=True)]
        if more == asked:
            break
        asked = more
        try:
            plan = plan_order(asked, market, wish, kinds) or surest(asked, market, wish, kinds)
        except Unsettled:
            return replace(best, proven=False)
        best = min(best, plan, key=lambda one: (_short(wanted, one), one.cost))
    return best if best is first or first is None else _proven_by(best, first)


def _short(wanted: Sequence[Wanted], plan: Plan) -> float:
    """What vehicles are short of what is wanted, together."""
    pairs = zip(wanted, plan.boxes, strict=True)
    return sum(one.sureness - box.sureness for one, box in pairs if not is_sure(one, box))


def _asked(one: Wanted, box: BoxPlan) -> Wanted:
    """A vehicle with more scenarios to cover where its box is not sure enough, and with no more than its box covers
    where it is."""
    covered = sum(box.covered)
    if is_sure(one, box):
        return replace(one, asked=min(one.enough, covered))
    lacking = max(1, ceil((one.sureness - NOT_SHORT - box.sureness) * one.scenarios))
    return replace(one, asked=min(one.scenarios, covered + lacking)) if covered >= one.enough else one


def _proven_by(plan: Plan, first: Plan) -> Plan:
    """A plan for more scenarios than were asked for at first, which prove no more than they did."""
    if not plan.proven or first.cost == plan.cost:
        return plan
    return replace(plan, proven=False, least=first.cost if first.least is None else first.least)
