"""The cheapest box of a vehicle against trying every box there is."""

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from order_cases import SCENARIOS, SIZES, workshop

from configurator.ordering.boxes import Box, BoxMaker
from configurator.ordering.circuit_boxes import Prices

CODES = ("lobe-a", "lobe-b", "lobe-c", "pump", "small-pump", "spacer", "seal-seat", "seal-cover", "seal-flange",
         *(f"size-{n}" for n in range(6)))  # fmt: skip


def is_covered(maker: BoxMaker, box: Box) -> list[bool]:
    """Whether a box covers each scenario, by the needs of its vehicle."""
    pairs = zip(maker.circuits, box.setups, box.nozzles, strict=True)
    held = [one.needs.covers[np.ix_(setups, nozzles)].any(axis=(0, 1)) for one, setups, nozzles in pairs]
    return [bool(one) for one in np.all(held, axis=0)]


def made(seed: int, circuits: int) -> tuple[BoxMaker, Prices]:
    """A vehicle, and prices with ties among them; what is set free may bring more than anything costs."""
    wanted, market = workshop(12, seed)
    needs = next(one.needs for one in wanted if len(one.needs.circuits) == circuits)
    rng = np.random.default_rng(seed)
    price = {code: 100.0 * rng.integers(0, 12) for code in CODES}
    freed = {code: 100.0 * rng.integers(0, 4) for code in ("lobe-a", "small-pump")}
    drill = {size: 50.0 * rng.integers(0, 5) for size in SIZES}
    used = {(at, size): each for size, each in drill.items() for at in range(circuits)}
    return BoxMaker(needs, market), Prices(price, freed, used, 1.5)


def every_box(maker: BoxMaker) -> Iterator[Box]:
    """Every box of a single circuit."""
    ways = [
        list(itertools.product(
            [s for size in (1, 2, 3) for s in itertools.combinations(range(len(circuit.setups)), size)],
            [n for size in range(1, len(circuit.nozzles) + 1)
             for n in itertools.combinations(range(len(circuit.nozzles)), size)],
        ))
        for circuit in maker.needs.circuits
    ]  # fmt: skip
    for chosen in itertools.product(*ways):
        for shared in range(len(maker.needs.shared)):
            if all(
                circuit.setups[s].goes_with[shared]
                for circuit, (setups, _) in zip(maker.needs.circuits, chosen, strict=True) for s in setups
            ):  # fmt: skip
                yield maker.box([s for s, _ in chosen], [n for _, n in chosen], shared)


@pytest.mark.parametrize("seed", range(12))
def test_no_box_of_one_circuit_is_cheaper(seed: int) -> None:
    maker, prices = made(seed, 1)
    priced = [(box.price(prices), box.covered) for box in every_box(maker)]
    for enough in range(1, SCENARIOS + 1):
        expected = min((price for price, covered in priced if covered >= enough), default=np.inf)
        found = maker.best(prices, enough)
        assert (found[0] if found else np.inf) == pytest.approx(expected)
        if found is not None:
            assert found[1].price(prices) == pytest.approx(found[0]) and found[1].covered >= enough
            assert maker.best(prices, enough, below=found[0]) is None, "none is below its price"
            assert sum(is_covered(maker, found[1])) == found[1].covered


@pytest.mark.parametrize("seed", range(4))
def test_no_box_of_two_circuits_is_cheaper(seed: int) -> None:
    """Every box of the two, put together from all that one circuit's part of it can be, shared pair by shared pair."""
    maker, prices = made(seed, 2)
    halves = [BoxMaker(replace(maker.needs, circuits=(circuit,)), maker.market) for circuit in maker.needs.circuits]
    expected = np.full(SCENARIOS + 1, np.inf)
    for shared in range(3):
        stack = sum(prices.code[code] * count for code, count in halves[0].box([()], [()], shared).takes.items())
        cheapest = []
        for half in halves:
            by_mask: dict[int, float] = {}
            for box in every_box(half):
                if box.shared == shared:
                    mask = sum(1 << place for place, seen in enumerate(is_covered(half, box)) if seen)
                    by_mask[mask] = min(by_mask.get(mask, np.inf), box.price(prices) - stack)
            cheapest.append(by_mask)
        for (front, price), (rear, other) in itertools.product(cheapest[0].items(), cheapest[1].items()):
            covered = (front & rear).bit_count()
            expected[: covered + 1] = np.minimum(expected[: covered + 1], price + other + stack)
    for enough in range(1, SCENARIOS + 1):
        found = maker.best(prices, enough)
        assert (found[0] if found else np.inf) == pytest.approx(expected[enough])
        if found is not None:
            assert maker.best(prices, enough, below=found[0] + 1.0) == found, "a bound just above it does not hide it"


@pytest.mark.parametrize("seed", range(4))
def test_what_one_circuit_sets_free_may_pay_for_the_other(seed: int) -> None:
    maker, prices = made(seed, 2)
    prices = replace(prices, freed={"lobe-a": 2500.0, "small-pump": 2500.0})
    for enough in range(1, SCENARIOS + 1):
        found = maker.best(prices, enough)
        if found is not None:
            assert maker.best(prices, enough, below=found[0] + 1.0) == found


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("short_price", [40.0, 400.0, 4000.0])
def test_being_short_is_weighed_against_money(seed: int, short_price: float) -> None:
    maker, prices = made(seed, 1)
    enough = 6
    boxes = [*every_box(maker), maker.empty]
    expected = min(box.price(prices) + short_price * max(0, enough - box.covered) for box in boxes)
    found = maker.best(prices, enough, short_price)
    assert found is not None and found[0] == pytest.approx(expected)


def test_an_empty_box_takes_nothing_and_covers_nothing() -> None:
    maker, prices = made(0, 2)
    assert maker.empty.price(prices) == 0.0 and not any(is_covered(maker, maker.empty))
