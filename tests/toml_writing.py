"""Vehicle files of the tests' own, written."""

import json
from collections.abc import Mapping
from typing import Any


def toml(tables: Mapping[str, Any], above: str = "") -> str:
    """Tables of plain values as a vehicle file has them."""
    plain = {key: value for key, value in tables.items() if not isinstance(value, Mapping)}
    lines = [f"[{above}]"] if above else []
    lines += [f"{key} = {json.dumps(value)}" for key, value in plain.items()]
    below = [toml(value, f"{above}.{key}".strip(".")) for key, value in tables.items() if key not in plain]
    return "\n".join([*lines, *below])
