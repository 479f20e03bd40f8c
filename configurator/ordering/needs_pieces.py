"""The long part of an order in pieces, each worked out once for all vehicles that are technically equal.

A piece is what the parts of a model cover whatever is believed of it, or what a run with one car in one air says. It
hangs on the car, the catalogue and the program alone, so it may be worked out anywhere, and be kept.
"""

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache, cached_property
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from configurator.book.records import Trial, car_of
from configurator.car.vehicle import Vehicle
from configurator.catalogue.load import FAMILIES, Catalog
from configurator.files.source import source_of
from configurator.judging.case import Case
from configurator.learning.belief import AsFitted, felt_as_fitted
from configurator.learning.pulled import KINDS, PullInEngines
from configurator.learning.traced import Spells
from configurator.ordering.needs import CircuitRegions, listed_of, regions_of, shared_of
from configurator.physics.lateness import FIRST_FUEL, NOTHING_COVERED
from configurator.physics.verdict import Complaints
from configurator.slots.slot import CIRCUIT_SLOTS, Slot
from configurator.stopping import heed

Arrays = Mapping[str, NDArray[Any]]
"""What a piece comes to, by name."""
COVERED = ("bits", "goes_with", "volume_cc", "peak_cc_s")


@dataclass(frozen=True)
class Piece:
    """One piece of work. car : by its content, a name left out; redrill matters to regions only; who : of whose it is,
    for people; pulled : whether the pull of a run was recorded, which its content says, too."""

    kind: Literal["regions", "run"]
    vehicle: Vehicle
    content: str
    redrill: bool
    who: str
    pulled: bool = False

    @cached_property
    def key(self) -> str:
        """A digest of what the piece hangs on, besides catalogue and program."""
        return digest(f"{self.kind} {self.redrill} {self.content}")


Workers = Callable[[Sequence[Piece], Catalog], Iterator[tuple[Piece, Arrays]]]
"""Works pieces out and hands them back as they are done, in any order."""


def regions_piece(vehicle: Vehicle, *, redrill: bool) -> Piece:
    """What the parts of a vehicle cover. Vehicles that differ in name and story only have the same piece."""
    return Piece("regions", vehicle, vehicle.model_dump_json(exclude={"name", "note"}), redrill, vehicle.name)


def run_key(trial: Trial) -> str:
    """The car and the air of a run, and whether its pull was recorded: those who share it share what its car does."""
    car = {key: value for key, value in trial.car.items() if key not in ("name", "note")}
    air = trial.conditions.model_dump(exclude={"fuel", "warm"}, exclude_none=True)
    return json.dumps([car, air, *(["pulled"] if trial.pull else [])], sort_keys=True)


def run_piece(trial: Trial, content: str) -> Piece:
    """What was fitted in a run, in every engine; content : its run_key."""
    who = f"run {trial.number} of {trial.vehicle}"
    return Piece("run", car_of(trial), content, False, who, trial.pull is not None)


def worked_out(piece: Piece, catalog: Catalog) -> dict[str, NDArray[Any]]:
    """What a piece comes to. Raises BadInput for a car that the catalogue does not suit."""
    case = Case.of(piece.vehicle, catalog)
    if piece.kind == "run":
        fitted = felt_as_fitted(case, traced=True, pulled=piece.pulled)
        told = [vars(one) for one in (fitted.felt, fitted.spells, fitted.pull) if one is not None]
        return {name: np.asarray(figures, dtype=float) for one in told for name, figures in one.items()}
    found = regions_of(case, redrill=piece.redrill)
    return {f"{name}.{end}": getattr(regions, end) for name, regions in found.items() for end in COVERED}


def here(pieces: Sequence[Piece], catalog: Catalog) -> Iterator[tuple[Piece, Arrays]]:
    """Works pieces out in this process, one after another. Raises Stopped if it was stopped from outside."""
    for piece in pieces:
        heed()
        yield piece, worked_out(piece, catalog)


def regions_from(arrays: Arrays) -> dict[str, CircuitRegions]:
    """Regions by circuit out of what a piece came to."""
    names = dict.fromkeys(name.partition(".")[0] for name in arrays)
    return {name: CircuitRegions(*(arrays[f"{name}.{end}"] for end in COVERED)) for name in names}


def is_sound(piece: Piece, arrays: Arrays, catalog: Catalog) -> bool:
    """Whether arrays from a file have the names, kinds and shapes that a piece comes to."""
    points = len(FIRST_FUEL)
    expected: dict[str, tuple[int, ...]] = {item.name: (1, points) for item in fields(Complaints)}
    expected |= {item.name: (points,) for item in fields(Spells)}
    if piece.pulled:
        expected |= {
            "pull_rise_ms": (KINDS, points),
            "pull_sag_percent": (KINDS, points),
            "pull_best_rise_ms": (KINDS, 1),
        }
    if piece.kind == "regions":
        case = Case.of(piece.vehicle, catalog)
        shared, expected = len(shared_of(case, piece.redrill)), {}
        for name in case.circuit_names:
            listed = listed_of(case, name, piece.redrill)
            counts = [len(listed[Slot(name, slot)]) for slot in CIRCUIT_SLOTS]
            expected[f"{name}.bits"] = (*counts, len(NOTHING_COVERED))
            expected |= {f"{name}.{figure}": tuple(counts) for figure in ("volume_cc", "peak_cc_s")}
            expected[f"{name}.goes_with"] = (counts[CIRCUIT_SLOTS.index("pump")], shared)
    return {name: array.shape for name, array in arrays.items()} == expected and all(
        array.dtype == _KINDS.get(name.partition(".")[2], float) for name, array in arrays.items()
    )


_KINDS = {"bits": np.uint8, "goes_with": bool}


def fitted_from(arrays: Arrays) -> AsFitted:
    """What was fitted in a run out of what a piece came to."""
    felt, spells, pull = (
        {item.name: arrays[item.name] for item in fields(kind) if item.name in arrays}
        for kind in (Complaints, Spells, PullInEngines)
    )
    return AsFitted(Complaints(**felt), Spells(**spells), PullInEngines(**pull) if pull else None)


def digest(text: str) -> str:
    """A short name for a text that no other text has."""
    return sha256(text.encode()).hexdigest()[:40]


def catalog_digest(catalog: Catalog) -> str:
    """A digest of all that stands in a catalogue, wherever its files lie."""
    content = sha256()
    for family in (name if name != "limits" else "limit_rows" for name in FAMILIES):
        for code, record in getattr(catalog, family).items():
            content.update(f"{family} {code} {record.model_dump_json()}\n".encode())
    return content.hexdigest()[:40]


@cache
def program() -> str:
    """This program, as precisely as pieces hang on it: its version, a digest of their modules, and numpy's version."""
    try:
        number = version("tipin")
    except PackageNotFoundError:
        number = "in a folder"
    return f"tipin {number} ({sha256(source_of(__name__)).hexdigest()[:12]}) with numpy {np.__version__}"
