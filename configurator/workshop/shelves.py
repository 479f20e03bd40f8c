"""Everything that can be put into an order, as what it brings, what it costs and when it is there."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from configurator.catalog import Catalog
from configurator.options import pence
from configurator.supply import Supplier


@dataclass(frozen=True)
class Tier:
    """A price in hundredths for one pack, from so many packs up (and below the next tier)."""

    from_packs: int
    price: int


@dataclass(frozen=True)
class Article:
    """One thing a supplier sells: what a pack brings, by code, and its price by quantity."""

    code: str
    supplier: str
    brings: Mapping[str, int]
    tiers: tuple[Tier, ...]

    def cost(self, packs: int) -> int:
        """Price of so many packs in hundredths: the last tier whose quantity they reach holds for all of them. Fewer
        than are sold cost as much as the fewest that are."""
        if not packs:
            return 0
        packs = max(packs, self.tiers[0].from_packs)
        return packs * max((tier for tier in self.tiers if tier.from_packs <= packs), key=lambda t: t.from_packs).price


def articles(catalog: Catalog) -> list[Article]:
    """All articles of a catalogue, in the order of their codes: parts one by one, packs, kits, drills."""
    sold: dict[tuple[str, str, int], list[tuple[str, Tier]]] = {}
    single = ("nozzles", "feed_screws", "pumps", "lobes", "spacers", "consumables", "drill_bits")
    for part in (part for name in single for part in getattr(catalog, name).values()):
        sold.setdefault((part.code, part.supplier, 1), []).append((part.code, Tier(1, pence(part.price))))
    for offer in catalog.offers.values():
        tier = Tier(offer.from_packs, pence(offer.price))
        sold.setdefault((offer.part, offer.supplier, offer.pack_size), []).append((offer.code, tier))
    found = []
    for (part_code, supplier, size), rows in sold.items():
        tiers = tuple(sorted((tier for _, tier in rows), key=lambda t: t.from_packs))
        brings = _with_box(catalog, part_code, size)
        found.append(Article(min(code for code, _ in rows) if size > 1 else part_code, supplier, brings, tiers))
    for kit in catalog.kits.values():
        found.append(Article(kit.code, kit.supplier, Counter(kit.contents), (Tier(1, pence(kit.price)),)))
    return sorted(found, key=lambda article: (article.code, article.supplier))


def _with_box(catalog: Catalog, code: str, count: int) -> Counter[str]:
    """A part and whatever comes in its box."""
    brings = Counter({code: count})
    if code in catalog.pumps:
        for other in catalog.pumps[code].comes_with:
            brings.update(_with_box(catalog, other, count))
    return brings


def arrival(supplier: Supplier, ordered: date) -> date:
    """Day a delivery is there: working days (Monday to Friday) after the order; over the counter the same day."""
    if not supplier.lead_time_days:
        return ordered
    return np.busday_offset(np.datetime64(ordered), supplier.lead_time_days, roll="forward").astype(date)  # type: ignore[no-any-return]
