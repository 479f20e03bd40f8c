"""The pictures of one circuit of a vehicle, by the word that page, card and command line call them by."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from configurator.judging.band import band_of
from configurator.judging.case import Case
from configurator.judging.lift import lift_of
from configurator.judging.mixture import mixture_of
from configurator.judging.pull import pull_of
from configurator.learning.belief import Belief
from configurator.learning.nozzle_sizes import nozzle_sizes
from configurator.slots.options import Choice
from configurator.slots.slot import CIRCUIT_SLOTS, Slot
from configurator.views.picture_style import Figure
from configurator.views.pictures import (
    lift_picture,
    mixture_picture,
    pull_picture,
    says_of_lift,
    says_of_mixture,
    says_of_pull,
    says_of_shot,
    says_of_sizes,
    shot_picture,
    sizes_picture,
)

Drawn = tuple[Figure, str]
"""A figure and what it shows in words."""
Draw = Callable[[Case, str, Choice, Belief | None], Drawn]


def _shot(case: Case, name: str, choice: Choice, belief: Belief | None) -> Drawn:
    bands = [band_of(case, name, choice)]
    return shot_picture(bands), says_of_shot(bands)


def _mixture(case: Case, name: str, choice: Choice, belief: Belief | None) -> Drawn:
    mixtures = [mixture_of(case, name, choice)]
    return mixture_picture(mixtures), says_of_mixture(mixtures)


def _pull(case: Case, name: str, choice: Choice, belief: Belief | None) -> Drawn:
    changed = any(choice[Slot(name, slot)].changed for slot in CIRCUIT_SLOTS)
    choices = {"as fitted": case.as_fitted} | ({"with the changes": choice} if changed else {})
    pulls = {called: pull_of(case, name, one) for called, one in choices.items()}
    return pull_picture(pulls), says_of_pull(pulls)


def _sizes(case: Case, name: str, choice: Choice, belief: Belief | None) -> Drawn:
    sizes = nozzle_sizes(case, name, choice, belief)
    return sizes_picture(sizes), says_of_sizes(sizes)


def _lift(case: Case, name: str, choice: Choice, belief: Belief | None) -> Drawn:
    lift = lift_of(case, name, choice)
    return lift_picture(lift), says_of_lift(lift)


PICTURES: Mapping[str, Draw] = MappingProxyType(
    {"pull": _pull, "shot": _shot, "mixture": _mixture, "sizes": _sizes, "lift": _lift}
)
"""For a case, a circuit, a choice of its parts and what is believed of the engine: the figure, and what it shows."""
