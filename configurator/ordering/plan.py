"""What is wanted, how to buy, and what came of it, as data."""

from dataclasses import dataclass
from datetime import date
from math import ceil

from configurator.ordering.articles import Article
from configurator.ordering.needs import VehicleNeeds

ORDER_EFFORT = 20.0
SHORT = "scenarios short of what is wanted"
"""The goal where sureness comes before money."""


@dataclass(frozen=True)
class Wanted:
    """A vehicle's needs, the day it runs and how sure it is to be. asked : scenarios to cover, where that many make the
    sureness."""

    needs: VehicleNeeds
    day: date
    sureness: float
    asked: int | None = None

    @property
    def scenarios(self) -> int:
        return len(self.needs.scenarios)

    @property
    def enough(self) -> int:
        """Scenarios to be covered."""
        return ceil(self.sureness * self.scenarios - 1e-9) if self.asked is None else self.asked


@dataclass(frozen=True)
class PurchaseWish:
    """How to buy: most to spend in hundredths, suppliers at most, fewest deliveries before money, whether goods that no
    box needs may make up a sum that a supplier wants, effort in seconds."""

    budget: int | None = None
    most_suppliers: int | None = None
    fewest_deliveries: bool = False
    fill: bool = True
    effort: float = ORDER_EFFORT


@dataclass(frozen=True)
class BoxPlan:
    """What one vehicle's box holds: places of setups and nozzles by circuit, of the shared pair; the scenarios and the
    share of the belief that it covers, worked out from what it holds."""

    setups: dict[str, list[int]]
    nozzles: dict[str, list[int]]
    shared: int
    covered: list[bool]
    sureness: float

    @classmethod
    def of(
        cls, needs: VehicleNeeds, setups: dict[str, list[int]], nozzles: dict[str, list[int]], shared: int
    ) -> "BoxPlan":
        """The box of a vehicle that holds these."""
        return cls(setups, nozzles, shared, needs.covered(setups, nozzles), needs.sureness(setups, nozzles))


@dataclass(frozen=True)
class Plan:
    """An order: packs of each article bought, what the boxes hold, money in hundredths; least is proven of the first
    goal where the proof was cut short."""

    bought: list[tuple[Article, int]]
    boxes: list[BoxPlan]
    cost: int
    delivery: dict[str, int]
    proven: bool
    least: int | None
    goal: str
    stopped: bool = False
    """Whether the user stopped the search."""
