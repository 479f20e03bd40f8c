"""The answer of `tipin order`, as data."""

from pydantic import Field

from configurator.reports import CURRENCY_TOLD, Answer, NotKnown, Report


class LineFor(Report):
    """What a line of an order is for."""

    vehicle: str = Field(description="name of the vehicle")
    circuit: str | None = Field(description="front or rear; null for the car as a whole")
    lets_try: str = Field(description="what it lets the workshop try")


class OrderLine(Report):
    """One line as a supplier takes it."""

    supplier: str = Field(description="code of the supplier")
    code: str = Field(description="code of the part, pack, kit or drill")
    part: str | None = Field(description="code that boxes know it by, and all that are alike; null for a kit")
    quantity: int = Field(description="packs, kits or parts of it")
    brings: dict[str, int] = Field(description="parts it brings in all, by the code that stands for all that are alike")
    price: float = Field(description="price of one, in the workshop's currency")
    total: float = Field(description="price of the line")
    delivery_day: str = Field(description="day it is there, year-month-day")
    wanted_for: list[LineFor] = Field(description="what it is for")
    spare: int = Field(default=0, description="of the quantity, how many no box needs: they make up a sum")

    @property
    def called(self) -> str:
        """The code to order by, and in brackets the code that boxes know the part by, where that is another."""
        return self.code if self.part in (None, self.code) else f"{self.code} ({self.part})"


class SupplierTotal(Report):
    """What goes to one supplier."""

    supplier: str = Field(description="code of the supplier")
    goods: float = Field(description="value of the goods")
    delivery: float = Field(description="delivery charge")
    total: float = Field(description="both")
    fill: str | None = Field(
        default=None, description="what goods that no box needs are bought for, in words; null where there are none"
    )
    delivery_day: str = Field(description="day it is there, year-month-day")


class VehicleSureness(Report):
    """How sure one vehicle is, before and after, and what its box holds."""

    vehicle: str = Field(description="name of the vehicle")
    day: str = Field(description="day it runs, year-month-day")
    wanted: float = Field(description="sureness wanted, 0 to 1")
    before: float | None = Field(
        description="sureness with shelf and fitted parts alone; null where the search was stopped before"
    )
    after: float = Field(description="sureness with the order")
    enough: bool = Field(description="whether that is as sure as wanted, to half a per cent")
    runs: int = Field(description="trial runs behind it")
    says: str = Field(description="what it rests on, in words")
    setups: dict[str, list[str]] = Field(description="screw, pump and lobe to have at hand, by circuit")
    nozzles: dict[str, list[str]] = Field(description="nozzles to have at hand, by circuit, smallest first")
    first: list[str] = Field(default=[], description="what to measure before anything is ordered for it")
    stack: list[str] = Field(description="spacer or work under the pump that goes with it")
    not_known: list[NotKnown] = Field(
        default=[],
        description="where something is bought for it: how far the smallest nozzle may lie off, one entry a circuit; "
        "empty where all that could be told is known, or once a run is logged",
    )


class VehicleLeftAlone(Report):
    """A vehicle that pulls cleanly, or did with parts that are at hand and go back in: nothing is bought for it."""

    vehicle: str = Field(description="name of the vehicle")
    day: str = Field(description="day it runs, year-month-day")
    runs: int = Field(description="trial runs behind it")
    says: str = Field(description="what it rests on, in words")


class CurvePoint(Report):
    """The most sureness for an amount of money."""

    budget: float = Field(description="most that may be spent")
    spent: float = Field(description="what the surest order within it costs")
    sureness: float = Field(description="mean sureness over the vehicles, no more counted than is wanted")
    least: float = Field(description="sureness of the least sure vehicle")
    proven: bool = Field(description="whether that is proven to be the most")


class Failing(Report):
    """A wish that cannot be met, and by how much."""

    vehicle: str = Field(description="name of the vehicle")
    wanted: float = Field(description="sureness wanted")
    best: float = Field(description="most that can be reached by its day, whatever it costs")
    would_do: list[str] = Field(
        default=[], description="what a part that the catalogue lacks would have to be like; told of three vehicles"
    )


class WayOut(Report):
    """A relaxation that lets the order be met, and what it then costs."""

    says: str = Field(description="what to change")
    cost: float | None = Field(description="price of the order then; null where it was not worked out")


class OrderReport(Answer):
    """Answer of `tipin order`."""

    name: str = Field(description="name in the workshop file")
    ok: bool = Field(description="every vehicle reaches its sureness by its day, within what was asked")
    proven: bool = Field(description="whether it is proven that nothing cheaper (surer, within a budget) does")
    bound: str | None = Field(description="where the effort cut the proof short: what is proven")
    lines: list[OrderLine] = Field(description="what to order")
    suppliers: list[SupplierTotal] = Field(description="totals by supplier")
    work: float = Field(description="price of work on parts that the box counts on, and of labour if it has a price")
    labour_per_hour: float = Field(default=0.0, description="price of an hour's work that is counted; 0 for none")
    total: float = Field(description="goods, delivery and work")
    currency: str = Field("", description=CURRENCY_TOLD)
    vehicles: list[VehicleSureness] = Field(description="how sure each vehicle is")
    left_alone: list[VehicleLeftAlone] = Field(description="vehicles that pull cleanly")
    curve: list[CurvePoint] = Field(description="sureness against money")
    failing: list[Failing] = Field(description="wishes that cannot be met")
    ways_out: list[WayOut] = Field(description="the cheapest relaxations found")
    notes: list[str] = Field(description="what the order counts on")
