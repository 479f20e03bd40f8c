"""Everything that can be put into an order, as what it brings, what it costs and when it is there."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import inf
from typing import Any

import numpy as np

from configurator.catalogue.load import FAMILIES, Catalog
from configurator.catalogue.supply import Supplier
from configurator.slots.offered import stocks_of
from configurator.slots.options import pence


@dataclass(frozen=True)
class Tier:
    """A price in hundredths for one pack, from so many packs up (and below the next tier)."""

    from_packs: int
    price: int


@dataclass(frozen=True)
class Article:
    """One thing a supplier sells: what a pack brings, by code, and its price by quantity.

    part : the code that boxes know it by, where it is no kit.
    """

    code: str
    supplier: str
    brings: Mapping[str, int]
    tiers: tuple[Tier, ...]
    part: str | None = None

    def cost(self, packs: int) -> int:
        """Price of so many packs in hundredths: the last tier whose quantity they reach holds for all of them. Fewer
        than are sold cost as much as the fewest that are."""
        if not packs:
            return 0
        packs = max(packs, self.tiers[0].from_packs)
        return packs * max((tier for tier in self.tiers if tier.from_packs <= packs), key=lambda t: t.from_packs).price


def articles(catalog: Catalog) -> list[Article]:
    """All articles of a catalogue, in the order of their codes: parts one by one, packs, kits, drills. What they bring
    goes by the code that stands for all parts that are technically alike."""
    stands_for = stocks_of(catalog).stands_for
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
        brings = under_one_code(_with_box(catalog, part_code, size), stands_for)
        code = min(code for code, _ in rows) if size > 1 else part_code
        found.append(Article(code, supplier, brings, tiers, stands_for.get(part_code, part_code)))
    for kit in catalog.kits.values():
        brings = under_one_code(Counter(kit.contents), stands_for)
        found.append(Article(kit.code, kit.supplier, brings, (Tier(1, pence(kit.price)),)))
    return _by_code(found)


def under_one_code(counts: Mapping[str, int], stands_for: Mapping[str, str]) -> Counter[str]:
    """Numbers of parts by the code that stands for all that are technically alike."""
    found: Counter[str] = Counter()
    for code, count in counts.items():
        found[stands_for.get(code, code)] += count
    return found


def worth_a_look(articles: Sequence[Article], most: Mapping[str, int]) -> list[Article]:
    """Those that bring something useful, but for those that cost no less than their useful part does from the same
    supplier in another way: part by part, or as another article that brings the same. most : how many of a code can be
    of use."""
    singly = _single_prices(articles)
    rivals: dict[tuple[str, frozenset[tuple[str, int]]], list[Article]] = {}
    for article in articles:
        useful = {code: min(count, most[code]) for code, count in article.brings.items() if code in most}
        apart = sum(count * singly.get((article.supplier, code), inf) for code, count in useful.items())
        if useful and (sum(article.brings.values()) == 1 or apart > min(tier.price for tier in article.tiers)):
            rivals.setdefault((article.supplier, frozenset(article.brings.items())), []).append(article)
    return _by_code([article for own in rivals.values() for article in _undercut_by_none(own)])


def _single_prices(articles: Iterable[Article]) -> dict[tuple[str, str], float]:
    """What one part costs at most as an article of its own, by supplier and code."""
    singly: dict[tuple[str, str], float] = {}
    for article in articles:
        [(code, count), *others] = article.brings.items()
        if count == 1 and not others and article.tiers[0].from_packs == 1:
            key = (article.supplier, code)
            singly[key] = min(singly.get(key, inf), max(tier.price for tier in article.tiers))
    return singly


def _undercut_by_none(rivals: Sequence[Article]) -> list[Article]:
    """Of articles that bring the same those that no other is never dearer than, the first of equals."""
    best: list[Article] = []
    for article in sorted(rivals, key=lambda one: one.cost(1)):
        if not any(_never_dearer(other, article) for other in best):
            best.append(article)
    return best


def _never_dearer(article: Article, other: Article) -> bool:
    """Whether an article costs at no quantity more than another; who needs fewer of it than are sold buys those."""
    # From one quantity at which a price changes to the next both cost in proportion, so those quantities decide.
    quantities = {tier.from_packs for one in (article, other) for tier in one.tiers}
    return all(article.cost(packs) <= other.cost(packs) for packs in quantities)


def _by_code(articles: Sequence[Article]) -> list[Article]:
    return sorted(articles, key=lambda article: (article.code, article.supplier))


def _with_box(catalog: Catalog, code: str, count: int) -> Counter[str]:
    """A part and whatever comes in its box."""
    brings = Counter({code: count})
    if code in catalog.pumps:
        for other in catalog.pumps[code].comes_with:
            brings.update(_with_box(catalog, other, count))
    return brings


def arrival(supplier: Supplier, ordered: date) -> date:
    """Day a delivery is there: working days after the order, Monday to Friday but for those on which the supplier is
    closed; over the counter the same day, or the next on which it is open."""
    week = "1111100" if supplier.lead_time_days else "1111111"
    there = np.busday_offset(
        np.datetime64(ordered), supplier.lead_time_days, roll="forward", weekmask=week,
        holidays=np.array(supplier.closed_on, dtype="datetime64[D]"),
    )  # fmt: skip
    return there.astype(date)  # type: ignore[no-any-return]


def by_codes(catalog: Catalog) -> Catalog:
    """A catalogue with every family in the order of its codes: an order hangs on no order of rows."""
    names = (name for name, model in FAMILIES.items() if "code" in model.model_fields)
    families: dict[str, Any] = {name: dict(sorted(getattr(catalog, name).items())) for name in names}
    return replace(catalog, **families)
