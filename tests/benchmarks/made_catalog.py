"""Catalogues of any size, for benchmarks and tests: a workshop's shelf up to a wholesaler's list.

A large list holds no more kinds of part than the trade makes: it names the same part many times, from other suppliers
at other prices. So kinds grow with the logarithm of the list and end at about 40,000 combinations that deliver
differently, while rows, ties of price, offers and kits grow with the list. The shipped catalogue's rows are always in
it, so that the example vehicles can be put in front of it.

    python tests/benchmarks/made_catalog.py FOLDER 100000
"""

import argparse
import csv
import math
import random
from collections.abc import Iterator, Sequence
from pathlib import Path

SHIPPED = Path(__file__).resolve().parents[2] / "catalog"
FAMILIES = ("nozzles", "feed_screws", "pumps", "lobes", "spacers", "consumables", "operations", "suppliers", "offers",
            "kits", "drill_bits", "limits", "settings")  # fmt: skip
SHARES = {"nozzles": 0.60, "feed_screws": 0.10, "pumps": 0.08, "lobes": 0.16, "spacers": 0.06}
"""Families whose rows count as parts, and what share of a list each has."""
FULL_LIST = 100_000
"""From this many parts on, a list holds every kind there is."""
ROWS_FOR_EACH_OFFER, ROWS_FOR_EACH_KIT = 10, 200
PRICE_FACTORS = (0.90, 0.95, 1.00, 1.00, 1.00, 1.05, 1.10)
PACKS = ((1, 1, 0.92), (1, 3, 0.85), (5, 1, 4.40), (10, 1, 8.50), (10, 5, 7.80))
"""Pack size, packs from which the price holds, and the price of a pack over that of a part."""

Row = dict[str, str]


def write_catalog(folder: Path, parts: int, seed: int) -> Path:
    """Write a catalogue with this many parts into a folder, the same for the same seed; returns the folder.

    Fewer parts than the shipped catalogue has (about eighty) give those.
    """
    folder.mkdir(parents=True, exist_ok=True)
    chance = random.Random(seed)
    tables = {family: _shipped(family) for family in FAMILIES}
    more = max(0, parts - sum(len(tables[family]) for family in SHARES))
    tables["suppliers"] += _suppliers(more, chance)
    suppliers = [row["code"] for row in tables["suppliers"]]
    counts = {family: int(more * share) for family, share in SHARES.items()}
    counts["nozzles"] += more - sum(counts.values())
    for family, count in counts.items():
        kinds = tables[family] + _new_kinds(family, tables[family], parts)
        tables[family] = tables[family] + [_listed(kinds, suppliers, serial, chance) for serial in range(count)]
    sold = [row for family in SHARES for row in tables[family]]
    tables["offers"] += [_offer(sold, suppliers, serial, chance) for serial in range(more // ROWS_FOR_EACH_OFFER)]
    tables["kits"] += [_kit(sold, suppliers, serial, chance) for serial in range(more // ROWS_FOR_EACH_KIT)]
    tables["drill_bits"] += [
        row | {"code": f"{row['code']}-{supplier}", "supplier": supplier}
        for supplier in suppliers[2:]
        for row in tables["drill_bits"]
    ]
    tables["settings"] = [{"name": "currency", "value": "EUR"}]
    for family, rows in tables.items():
        _write(folder / f"{family}.csv", rows)
    return folder


def _shipped(family: str) -> list[Row]:
    with (SHIPPED / f"{family}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path: Path, rows: Sequence[Row]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _suppliers(more: int, chance: random.Random) -> list[Row]:
    return [
        {"code": f"s{number:02}", "name": f"Supplier {number}", "note": "",
         "delivery_charge": str(chance.choice((0, 4.5, 6.5, 9))),
         "free_delivery_from": str(chance.choice(("", 80, 120))),
         "minimum_order": str(chance.choice((0, 0, 15, 30))), "lead_time_days": str(chance.choice((0, 1, 3, 5, 10)))}
        for number in range(1, min(40, math.isqrt(more) // 5) + 1)
    ]  # fmt: skip


def _new_kinds(family: str, shipped: Sequence[Row], parts: int) -> list[Row]:
    """Kinds that the shipped catalogue lacks: none up to 100 parts, all of them in a full list."""
    kinds = list({"nozzles": _nozzles, "feed_screws": _feed_screws, "pumps": _pumps, "lobes": _lobes,
                  "spacers": _spacers}[family](shipped))  # fmt: skip
    share = math.log(max(parts, 100) / 100) / math.log(FULL_LIST / 100)
    return kinds[: math.ceil(min(1.0, share) * len(kinds))]


def _nozzles(shipped: Sequence[Row]) -> Iterator[Row]:
    """Sizes between and beyond the shipped ones in both styles, and a longer orifice for large straight ones."""
    pattern = {row["style"]: row for row in shipped}
    for size in ("0.58", "0.64", "0.66", "0.74", "0.77", "0.83", "0.87", "0.94", "0.97", "1.05", "1.14", "1.36"):
        for style, row in pattern.items():
            yield row | {"code": f"{style}-{size}", "diameter_mm": size}
    for row in shipped:
        if row["style"] == "straight" and float(row["diameter_mm"]) >= 1.0:
            yield row | {"code": f"{row['code']}-long", "length_mm": "5.0"}


def _feed_screws(shipped: Sequence[Row]) -> Iterator[Row]:
    for name, area in (("slim", "2.4"), ("even", "3.6"), ("broad", "5.2")):
        yield shipped[0] | {"code": f"screw-{name}", "passage_area_mm2": area}


def _pumps(shipped: Sequence[Row]) -> Iterator[Row]:
    pattern = {row["code"]: row for row in shipped}
    short, long = pattern["pump-3cc"], pattern["pump-5cc"]
    yield short | {"code": "pump-3cc-firm", "spring_preload_n": "11", "spring_rate_n_per_mm": "2.0"}
    yield long | {"code": "pump-5cc-soft", "spring_preload_n": "9", "spring_rate_n_per_mm": "1.3"}
    yield short | {"code": "pump-4cc-short", "capacity_cc": "4", "capacity_ten_strokes_cc": "40",
                   "diaphragm_area_mm2": "800"}  # fmt: skip
    yield long | {"code": "pump-6cc", "capacity_cc": "6", "capacity_ten_strokes_cc": "60", "diaphragm_area_mm2": "980",
                  "depth_below_bowl_mm": "21"}  # fmt: skip
    yield long | {"code": "pump-5cc-firm", "spring_preload_n": "13", "spring_rate_n_per_mm": "2.1"}


def _lobes(shipped: Sequence[Row]) -> Iterator[Row]:
    pattern = {row["code"]: row for row in shipped}
    yield pattern["lobe-fell"] | {"code": "lobe-thwaite", "total_lift_mm": "3.2", "duration_deg": "62", "nose": "2.0"}
    yield pattern["lobe-force"] | {"code": "lobe-knott", "total_lift_mm": "4.4", "duration_deg": "52", "nose": "2.0"}


def _spacers(shipped: Sequence[Row]) -> Iterator[Row]:
    yield shipped[-1] | {"code": "spacer-32", "thickness_mm": "32", "bonnet_mm": "32.8"}


def _listed(kinds: Sequence[Row], suppliers: Sequence[str], serial: int, chance: random.Random) -> Row:
    """One more row of a kind: another supplier and code, and a price that others ask too."""
    kind, supplier = chance.choice(kinds), chance.choice(suppliers)
    price = f"{_to_five_cents(float(kind['price']) * chance.choice(PRICE_FACTORS)):.2f}"
    return kind | {"code": f"{kind['code']}-{supplier}-{serial:05}", "supplier": supplier, "price": price}


def _offer(sold: Sequence[Row], suppliers: Sequence[str], serial: int, chance: random.Random) -> Row:
    part, (pack_size, from_packs, factor) = chance.choice(sold), chance.choice(PACKS)
    return {"code": f"offer-{serial:05}", "part": part["code"], "supplier": chance.choice(suppliers),
            "pack_size": str(pack_size), "from_packs": str(from_packs),
            "price": f"{_to_five_cents(float(part['price']) * factor):.2f}"}  # fmt: skip


def _kit(sold: Sequence[Row], suppliers: Sequence[str], serial: int, chance: random.Random) -> Row:
    contents = chance.sample(sold, chance.randint(3, 8))
    price = _to_five_cents(0.85 * sum(float(row["price"]) for row in contents))
    return {"code": f"kit-{serial:05}", "supplier": chance.choice(suppliers), "price": f"{price:.2f}",
            "contents": " ".join(row["code"] for row in contents)}  # fmt: skip


def _to_five_cents(price: float) -> float:
    return round(20 * price) / 20


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("folder", type=Path)
    words.add_argument("parts", type=int)
    words.add_argument("--seed", type=int, default=1)
    asked = words.parse_args()
    print(write_catalog(asked.folder, asked.parts, asked.seed))


if __name__ == "__main__":
    main()
