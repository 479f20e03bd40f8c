"""What can be bought, and on what terms: suppliers, packs and quantity breaks, kits, drills.

A part's own row names a supplier and the price of one. Rows here add other suppliers, packs and breaks; a kit brings
several parts in one box, and may be opened for one of them.
"""

from configurator.basis import ASSUMED
from configurator.files.declared import Code, Codes, Dates, DiameterMm, Number, Record, Whole, figure


class Supplier(Record):
    """Who sells parts, and the terms."""

    code: Code = figure("code, once in the whole catalogue")
    name: str = figure("name", min_length=1, max_length=200)
    note: str = figure("anything a buyer should know", default="", max_length=2000)
    delivery_charge: Number = figure("charge for a delivery", "currency", default=0.0, ge=0, lt=10_000)
    free_delivery_from: Number | None = figure(
        "value of goods from which delivery is free; empty if it never is", "currency", default=None, gt=0, lt=1_000_000
    )
    minimum_order: Number = figure("least value of goods it delivers", "currency", default=0.0, ge=0, lt=100_000)
    lead_time_days: Whole = figure(
        "working days from order to delivery; 0 is over the counter", "days", basis=ASSUMED, default=0, ge=0, le=250
    )
    closed_on: Dates = figure(
        "days on which it is closed, beside the weekends of the post, such as 2026-12-25 2027-01-01",
        default=(),
        max_length=400,
    )


class Offer(Record):
    """Another way to buy a part: from another supplier, in packs, or dearer and cheaper by quantity."""

    code: Code = figure("code of the offer, once in the whole catalogue")
    part: Code = figure("code of the part")
    supplier: Code = figure("code of a supplier in suppliers.csv")
    pack_size: Whole = figure("parts in a pack", default=1, ge=1, le=1000)
    from_packs: Whole = figure("number of packs from which this price holds", default=1, ge=1, le=10_000)
    price: Number = figure("price of a pack, in the workshop's currency", "currency", ge=0, lt=100_000)


class Kit(Record):
    """Several parts in one box, at one price."""

    code: Code = figure("code, once in the whole catalogue")
    supplier: Code = figure("code of a supplier in suppliers.csv")
    price: Number = figure("price of the box, in the workshop's currency", "currency", ge=0, lt=100_000)
    contents: Codes = figure("codes of the parts in it, a code twice for two of them", min_length=1, max_length=200)


class DrillBit(Record):
    """A drill for nozzles: a tool that is bought once."""

    code: Code = figure("code, once in the whole catalogue")
    supplier: Code = figure("code of a supplier in suppliers.csv")
    price: Number = figure("price of one, in the workshop's currency", "currency", ge=0, lt=100_000)
    diameter_mm: DiameterMm = figure("diameter of the drill", "mm", gt=0.2, lt=3.0)
