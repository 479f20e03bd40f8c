"""The job card: what lies beside the car while a mechanic works, as data, and only what applies to this job."""

from configurator.card.filling import card_of
from configurator.card.sheet import AfterFeeling, Card, CardStep, NextMove, PartRow, Section, Swap

__all__ = [
    "AfterFeeling",
    "Card",
    "CardStep",
    "NextMove",
    "PartRow",
    "Section",
    "Swap",
    "card_of",
]
