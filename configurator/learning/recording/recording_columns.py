"""The columns of a recording of the pull: time, and an acceleration in three axes or forward, the car's speed, or the
engine's; and the throttle, if it was logged. Of several the best is read, which is the first of these."""

import re

from configurator.learning.logged.columns import LOGGED_THROTTLE, LOGGED_TIME, HeadingWords, LoggedQuantity, Vocabulary

AXES_READ = ("x", "y", "z")
_ACCELERATION = {
    "acceleration",
    "accel",
    "acc",
    "accelerometer",
    "linear",
    "lin",
    "a",
    "g",
    "gf",
    "force",
    "useracceleration",
}
_FORWARD = {"longitudinal", "forward", "forwards", "long", "lon"}
_NO_ACCELERATION = {
    "gyro", "gyroscope", "rotation", "rad/s", "deg/s", "°/s", "magnetic", "magnetometer", "mag", "ut", "µt", "gravity",
    "orientation", "attitude", "quaternion", "angle", "gps", "location", "position",
}  # fmt: skip
_FUSED = re.compile(r"(?:acceleration|accelerometer|accel|acc|lin|gf|a|g)([xyz])$")
_ACCELERATIONS = {
    "m/s2": "ms2", "m/s^2": "ms2", "m/s²": "ms2", "m/s/s": "ms2", "ms2": "ms2", "g": "g", "gs": "g", "mg": "mg",
}  # fmt: skip
SPEEDS = {
    "km/h": "kmh",
    "kmh": "kmh",
    "kph": "kmh",
    "mph": "mph",
    "mi/h": "mph",
    "m/s": "ms",
    "kn": "kn",
    "knots": "kn",
}
TURNING = {"rpm": "rpm", "rev/min": "rpm", "1/min": "rpm", "r/min": "rpm"}


def _axis(letter: str) -> LoggedQuantity:
    def is_named(words: HeadingWords) -> bool:
        said = set(words)
        if said & _NO_ACCELERATION:
            return False
        fused = {found[1] for found in map(_FUSED.match, words) if found}
        alone = said - set(_ACCELERATIONS) - {letter} == set()
        return letter in fused or (letter in said and (alone or bool(said & _ACCELERATION)))

    return LoggedQuantity(letter, is_named, _ACCELERATIONS, f"acceleration {letter} [m/s2]")


def _is_forward(words: HeadingWords) -> bool:
    said = set(words)
    return bool(said & _FORWARD) and bool(said & (_ACCELERATION | set(_ACCELERATIONS))) and not said & _NO_ACCELERATION


def _is_engine_speed(words: HeadingWords) -> bool:
    return not TURNING.keys().isdisjoint(words) or {"engine", "speed"} <= set(words)


def _is_car_speed(words: HeadingWords) -> bool:
    return bool({"speed", "velocity"} & set(words)) and not _is_engine_speed(words)


RECORDING_COLUMNS = Vocabulary(
    "a recording of the pull",
    (
        LOGGED_TIME,
        *map(_axis, AXES_READ),
        LoggedQuantity("forward", _is_forward, _ACCELERATIONS, "longitudinal acceleration [g]"),
        LoggedQuantity("speed", _is_car_speed, SPEEDS, "speed km/h"),
        LoggedQuantity("rpm", _is_engine_speed, TURNING, "rpm"),
        LOGGED_THROTTLE,
    ),
    frozenset({"target", "desired", "setpoint", "command", "commanded", "rate", "delta", "error", "accuracy", "limit"}),
    {"time": "time"},
    the_first=True,
)  # fmt: skip
