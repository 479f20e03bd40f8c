"""tipin: chooses the parts of a carburettor's accelerator-pump circuit.

What a script needs is offered here; it is loaded when it is first asked for, so that the command line starts at once.

>>> from configurator import check, load_car, load_parts
>>> check(load_car("catalog/examples/roadster.toml"), load_parts()).ok
False
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from configurator.ask import check, load_car, load_parts, next_step, order, propose, size, why

__version__ = "0.1.0"
__all__ = ["check", "load_car", "load_parts", "next_step", "order", "propose", "size", "why"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from configurator import ask

    return getattr(ask, name)
