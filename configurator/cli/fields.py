"""The fields that faults speak of, as the command line has them: by option or argument."""

OPTIONS = {
    "word": "--felt", "moment": "--when", "air_temperature_c": "--air-temperature", "altitude_m": "--altitude",
    "air_pressure_kpa": "--pressure", "clean_after_ms": "--clean-after", "code": "CODE", "number": "NUMBER",
    "own_code": "--code", "cells": "COLUMN=VALUE",
}  # fmt: skip
"""Where an option is not called as its field."""


def as_option(field: str, word: str) -> str:
    """A field with the word given for it.

    >>> as_option("trace_column", "phi"), as_option("air_pressure_kpa", "")
    ('--trace-column phi', '--pressure')
    """
    option = OPTIONS.get(field) or f"--{field.replace('_', '-')}"
    return f"{option} {word}".strip()
