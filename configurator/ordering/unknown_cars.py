"""What is not known of the cars that an order buys for, and how far it may move their nozzles."""

from collections.abc import Iterable, Mapping

from configurator.advice.over_unknown import not_known
from configurator.learning.as_known import Known
from configurator.reports import NotKnown

MOST_FOR_RANGE = 24
"""Different cars up to which it is worked out: each takes a moment."""


def not_known_of(known: Mapping[str, Known], bought_for: Iterable[str]) -> dict[str, list[NotKnown]]:
    """By name of those vehicles as far as it is worked out; equal ones share their Known, and it is done once.

    known : by name of a vehicle; one of which it is not told was made up.
    """
    found: dict[int, list[NotKnown]] = {}
    told = {}
    for name in bought_for:
        own = known.get(name)
        if own is None or (id(own) not in found and len(found) == MOST_FOR_RANGE):
            continue
        if id(own) not in found:
            found[id(own)] = not_known(own)
        told[name] = found[id(own)]
    return told
