"""All rules, each in one place: add one in the module of its subject, and its test; nothing else changes."""

from configurator.rules import as_found, fit, fuel_side
from configurator.rules.rule import RULES, WRONG, Kind, Rule, RuleSlot, Severity

__all__ = [
    "RULES",
    "WRONG",
    "Kind",
    "Rule",
    "RuleSlot",
    "Severity",
    "as_found",
    "fit",
    "fuel_side",
]
