"""Where every part of the catalogue stands for a vehicle, as data: it fits and cures, fits only, or does not fit."""

from typing import Literal

from pydantic import Field

from configurator.reports import CURRENCY_TOLD, Answer, EngineTold, Report

State = Literal["fits", "with_changes", "will_not_cure", "impossible"]


class Companion(Report):
    """A change that another part would bring with it."""

    slot: str = Field(description="front.nozzle, ..., spacer, pad_relief")
    to: str = Field(description="what would take the place of what is fitted")
    word: str = Field(description="the same as a wish takes it behind SLOT=")


class Clash(Report):
    """Why a part does not fit or will not cure: pins and rules that cannot all hold with it, none of which can be left
    out."""

    kind: Literal["fit", "cure"] = Field(description="whether nothing fits, or nothing that fits cures")
    pins: list[str] = Field(description="what the user has pinned, of what is in the way")
    rules: list[str] = Field(description="ids of the rules in the way, with their circuit")
    says: list[str] = Field(description="what is wrong by each of those rules, in a few words, in the same order")
    found: list[str] = Field(
        default=[],
        description="where one part was asked for: what each of those rules finds with it, the rest as pinned or "
        "fitted, in the same order; empty where the rule holds there",
    )
    others: int = Field(description="how many other such sets there are")
    give_up: list[list[str]] = Field(
        description="every smallest set of pins whose giving up makes room for it; empty if the rules alone forbid it"
    )


class Standing(Report):
    """Where one option of a slot stands."""

    label: str = Field(description="as text for people")
    code: str | None = Field(description="code of the part or the work; null where it has none")
    word: str = Field(description="the word for it behind SLOT= of a wish")
    state: State = Field(
        description="fits and cures as it is; with changes; fits, but will not cure whatever goes with it; does not fit"
    )
    fitted: bool = Field(description="whether it is what sits there now")
    pinned: bool = Field(description="whether the user has pinned it")
    with_changes: list[Companion] = Field(
        description="the least that has to change with it, for one that will not cure the least to fit it at all"
    )
    price: float | None = Field(
        description="price of it and what changes with it, gaskets included; null: does not fit"
    )
    labour_min: int | None = Field(description="labour for all that, minutes; null: does not fit")
    wrong: list[str] = Field(
        description="why it does not fit or will not cure: what is wrong with it and those changes, the rest as pinned "
        "or fitted, with the figures found and allowed; empty where it fits and cures"
    )
    clash: Clash | None = Field(description="the rules behind that; null where it fits and cures")


class SlotStanding(Report):
    """Every option of one slot."""

    slot: str = Field(description="front.nozzle, ..., spacer, pad_relief")
    pinned: bool = Field(description="whether the user has pinned it")
    options: list[Standing] = Field(description="what is fitted first, then in the catalogue's order")


class AvailabilityReport(Answer):
    """Answer of `tipin why`: every part in every slot asked for."""

    vehicle: str = Field(description="name in the vehicle file")
    engine: EngineTold = Field(description="the engine it was judged in")
    pins: list[str] = Field(description="what is pinned, in the user's words")
    felt: list[str] = Field(description="what a symptom asks for; named among the pins of a clash where it matters")
    clean: bool = Field(default=False, description="whether a run pulled cleanly: then only what fits is told")
    first: list[str] = Field(default=[], description="what to measure before any of it is bought or fitted")
    clash: Clash | None = Field(description="why nothing at all fits under the pins; null where something does")
    slots: list[SlotStanding] = Field(description="the slots asked for")
    currency: str = Field("", description=CURRENCY_TOLD)

    def only(self, places: frozenset[int]) -> "AvailabilityReport":
        """The same answer with these options of its slots only."""
        slots = [
            slot.model_copy(update={"options": [one for place, one in enumerate(slot.options) if place in places]})
            for slot in self.slots
        ]
        return self.model_copy(update={"slots": slots})
