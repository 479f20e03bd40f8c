"""All rules, each in one place: add one in the module of its subject, and its test; nothing else changes."""

from configurator.rules import as_found, fit, fuel_side
from configurator.rules.rule import CIRCUIT_SLOTS, DERIVED_SLOTS, RULES, SHARED_SLOTS, Rule, Severity

__all__ = [
    "CIRCUIT_SLOTS",
    "DERIVED_SLOTS",
    "RULES",
    "SHARED_SLOTS",
    "Rule",
    "Severity",
    "as_found",
    "fit",
    "fuel_side",
]
