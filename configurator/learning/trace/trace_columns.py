"""The columns of a mixture trace: time, throttle, one of phi, lambda and afr, or speed.

A heading that names a target or a rate is no reading.
"""

from configurator.learning.logged.columns import LOGGED_THROTTLE, LOGGED_TIME, LoggedQuantity, Vocabulary, one_of

MIXTURE_EXAMPLE = "phi, lambda or AFR"
TRACE_COLUMNS = Vocabulary(
    "a trace",
    (
        LOGGED_TIME,
        LOGGED_THROTTLE,
        LoggedQuantity("phi", one_of("phi", "φ", "ϕ", "equivalence"), {}, MIXTURE_EXAMPLE),
        LoggedQuantity("lambda", one_of("lambda", "λ", "lam"), {}, MIXTURE_EXAMPLE, "phi"),
        LoggedQuantity("afr", one_of("afr", "a/f"), {}, MIXTURE_EXAMPLE, "phi"),
        LoggedQuantity("speed", one_of("rpm", "rev/min", "1/min", "speed"),
                 {"rpm": "rpm", "rev/min": "rpm", "1/min": "rpm"}, "rpm"),
    ),
    frozenset({"target", "desired", "setpoint", "command", "commanded", "rate", "delta", "error", "dot", "road"}),
    {"time": "time", "throttle": "throttle", "phi": "the mixture"},
)  # fmt: skip
