"""A car by questions in the trade's words: one list, asked on a terminal or by a form, each answer with its unit.

The first ten or so reach an answer; what is not known is left out, and the answer carries its range.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from configurator.car.unknown import TAKEN
from configurator.errors import BadSize
from configurator.units.quantities import read_quantity

Answers = Mapping[str, str]
"""What was answered so far, by the key of a question; an empty text where it is not known."""
DONT_KNOW = ""


@dataclass(frozen=True)
class Question:
    """One thing asked of an owner.

    place : key of the vehicle file that takes the answer, with dots between; empty where `writes` does more with it.
    choices : words that may be answered, each with what it means; of others any text with a unit.  unknown : what is
    done where it is not known; where it is empty, what car/unknown has for its place.  asked : whether it is, after
    what was answered before.
    """

    key: str
    asks: str
    help: str
    example: str
    place: str = ""
    choices: Mapping[str, str] = field(default_factory=dict)
    unknown: str = ""
    or_code: bool = False
    or_number_from: float | None = None
    """Where a number does in place of a word, the least that can be meant."""
    asked: Callable[[Answers], bool] = lambda _: True
    writes: Callable[[str], Mapping[str, object]] | None = None

    @property
    def if_unknown(self) -> str:
        """What is done where it is not known; empty where an answer is needed."""
        table, _, key = self.place.partition(".")
        figure = TAKEN.get((table, key))
        if self.unknown or figure is None:
            return self.unknown
        each = " for each litre" if figure.per_litre else ""
        unit = f" {figure.unit}".rstrip()
        return f"{figure.taken:g}{unit}{each} is taken, {figure.low:g} to {figure.high:g}{unit} reckoned with"

    def written(self, answer: str) -> Mapping[str, object]:
        """Keys of the vehicle file, with dots between, and what an answer puts there; none where it is not known."""
        means = self.meant(answer)
        if means == DONT_KNOW:
            return {}
        return self.writes(means) if self.writes else {self.place: as_written(means)}

    def meant(self, answer: str) -> str:
        """What an answer stands for: nothing where it says that it is not known; the word of a choice that begins with
        what was said, where only one does, another word of the trade for it, or a number in words in figures.

        >>> asked = {one.key: one for one in QUESTIONS}
        >>> asked["barrels"].meant("four"), asked["front_screw"].meant("free flow screw"), asked["gearbox"].meant("idk")
        ('4', 'free-flow', '')
        """
        said = answer.strip()
        if said.lower() in NOT_KNOWN_IN_WORDS:
            return DONT_KNOW
        plain = _plainly(NUMBER_WORDS.get(said.lower(), said))
        found = [word for word in self.choices if plain and _plainly(word).startswith(plain)]
        other = OTHER_WORDS.get(plain, "")
        return other if other in self.choices else found[0] if len(found) == 1 else said

    @property
    def wants(self) -> str:
        """What may be answered, for one whose answer was refused."""
        words = [*self.choices]
        if self.or_number_from is not None:
            words.append("what ten strokes gave, such as 42 cc")
        if self.or_code:
            words.append("a code of the catalogue")
        return ", ".join(words[:-1]) + f" or {words[-1]}" if words else f"an answer such as {self.example}"


NOT_KNOWN_IN_WORDS = {
    DONT_KNOW, "?", "don't know", "dont know", "don\u2019t know", "i don't know", "idk", "dunno", "no idea", "unknown",
    "not known", "not sure", "unsure",
}  # fmt: skip
OTHER_WORDS = {"stick": "manual", "clutch": "manual", "converter": "automatic", "torqueconverter": "automatic",
               "neutral": "free", "outofgear": "free", "big": "large"}  # fmt: skip
"""Other words of the trade for a choice, as _plainly has them."""
_NOUNS = re.compile(r"\s*(accelerator|pump|screw|gearbox|transmission|manifold|barrels?|pumps|one)$")


def _plainly(words: str) -> str:
    """Words as they are compared: without case, hyphens, spaces, and the noun that the question itself names."""
    lower = words.lower().strip()
    while shorter := _NOUNS.sub("", lower):
        if shorter == lower:
            break
        lower = shorter
    return re.sub(r"[^a-z0-9]", "", lower)


NUMBER_WORDS = {"one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8"}


def as_written(answer: str) -> object:
    """An answer as a file has it: a number where it is one, with a point or a decimal comma, else text with its unit.

    >>> as_written("850"), as_written("1,3"), as_written("3.2 l"), as_written("1 250"), as_written("3,200")
    (850, 1.3, '3.2 l', '1 250', '3,200')
    """
    plain = re.sub(r"^(\d+),(\d{1,2})$", r"\1.\2", answer)
    for number in (int, float):
        try:
            return number(plain) if plain.isascii() and plain.replace(".", "", 1).isdecimal() else answer
        except ValueError:
            continue
    return answer


def _said(key: str, *words: str) -> Callable[[Answers], bool]:
    return lambda answers: answers.get(key) in words


CONFIRMED = ("float_level", "idle_mixture", "idle_speed")


def _vacuum(answer: str) -> Mapping[str, object]:
    """What a gauge shows is below the air, whether that is said or not; a bare number, or kPa, is as it is said."""
    gauge = answer.lower().endswith(("hg", '"', "inch", "in"))
    inches = answer.rstrip('"').removesuffix("inch").removesuffix("in").strip() + " inHg"
    reads = answer if answer.lower().endswith("hg") else inches
    return {"engine.idle_pressure_kpa": f"{reads} vacuum" if gauge else as_written(answer)}


def _manifold(word: str) -> Mapping[str, object]:
    return {} if word == "ordinary" else {"manifold.distance_to_valves_mm": 350}


def _nozzle(circuit: str) -> Callable[[str], Mapping[str, object]]:
    def written(answer: str) -> Mapping[str, object]:
        code = answer[:1].isalpha()
        size: object = as_written(answer)
        return {f"fitted.{circuit}.nozzle": answer if code else {"diameter": size, "style": "straight"}}

    return written


def _pump(circuit: str) -> Callable[[str], Mapping[str, object]]:
    def written(answer: str) -> Mapping[str, object]:
        measured = answer[:1].isdigit()
        return {f"fitted.{circuit}.pump": {"capacity_ten_strokes_cc": ten_strokes(answer)} if measured else answer}

    return written


def ten_strokes(answer: str) -> object:
    """What a burette showed after ten strokes [cc]; as it was said where that is no volume.

    >>> ten_strokes("42"), ten_strokes("42 cc in ten"), ten_strokes("42 hp")
    (42, 42, '42 hp')
    """
    said = answer.lower().partition(" in ten")[0].strip()
    with suppress(BadSize):
        cc = read_quantity(said, "cc").values[0]
        return int(cc) if cc == int(cc) else round(cc, 2)
    return as_written(said)


def _lobe(circuit: str) -> Callable[[str], Mapping[str, object]]:
    def written(answer: str) -> Mapping[str, object]:
        if answer[:1].isdigit():
            pairs = answer.replace(",", ".").replace(";", " ").split()
            return {f"fitted.{circuit}.lobe": {"table": " ".join(["0:0", *(one for one in pairs if one != "0:0")])}}
        code, _, phase = answer.partition("@")
        phase_deg = {f"fitted.{circuit}.phase_deg": as_written(phase)} if phase else {}
        return {f"fitted.{circuit}.lobe": code.strip(), **phase_deg}

    return written


PUMPS = {
    "standard": "about 30 cc in ten strokes, the usual one",
    "large": "about 50 cc in ten strokes; stands deeper below the bowl",
}
LEAST_TEN_STROKES_CC = 8
"""Less in ten strokes is what one gave."""
SCREWS = {"plain": "as the carburettor came with", "free-flow": "bored wide, for large nozzles"}
_OR_CODE = "or the code of a part of the catalogue"


def _circuit(circuit: str, which: str, asked: Callable[[Answers], bool]) -> Iterator[Question]:
    """What is asked of one pump circuit. which : the words for it, where there are two."""
    yield Question(
        f"{circuit}_nozzle", f"Which discharge nozzle is fitted{which}?",
        "the size is stamped on it, or try drill shanks in the orifice; or its code in the catalogue", "31 thou",
        asked=asked, writes=_nozzle(circuit),
    )  # fmt: skip
    yield Question(
        f"{circuit}_pump", f"Which accelerator pump{which}?",
        f"measured into a burette, ten full strokes: 42 cc; {_OR_CODE}", "standard", place=f"fitted.{circuit}.pump",
        choices=PUMPS, or_code=True, or_number_from=LEAST_TEN_STROKES_CC, asked=asked,
        unknown="a standard pump is taken", writes=_pump(circuit),
    )  # fmt: skip
    yield Question(
        f"{circuit}_screw", f"Which screw holds the nozzle{which}?", f"look through it; {_OR_CODE}", "plain",
        place=f"fitted.{circuit}.feed_screw", choices=SCREWS, or_code=True, asked=asked, unknown="a plain one is taken",
    )  # fmt: skip
    yield Question(
        f"{circuit}_lobe", f"Which lobe works the pump{which}?",
        "its code in the catalogue, with @ and the mounting position in degrees; or its lift by a dial gauge at three "
        "openings, as 15:1.1 30:1.9 55:2.8 (degrees from the closed stop:mm)", "lobe-fell@0",
        asked=asked, unknown="the lobe that usually goes with such a pump is taken", writes=_lobe(circuit),
    )  # fmt: skip


QUESTIONS = (
    Question("name", "What do you call the car?", "a name by which its runs are kept", "Sam's hillclimb coupe",
             place="name", writes=lambda answer: {"name": answer}),
    Question("engine_size", "How large is the engine?", "swept volume, all cylinders: log book or plate", "350 cu in",
             place="engine.displacement_cc"),
    Question("idle_speed", "At what speed does it idle, warm?", "rev counter, in neutral", "850",
             place="engine.idle_rpm"),
    Question("idle_vacuum", "What does a vacuum gauge show at that idle?", "gauge on the manifold, below the throttles",
             "16 inHg", place="engine.idle_pressure_kpa", writes=_vacuum),
    Question("gearbox", "What does it drive through?", "for the gear in which it stumbles", "manual",
             place="driveline.transmission",
             choices={"manual": "a clutch", "automatic": "a torque converter", "free": "it stumbles out of gear"},
             writes=lambda answer: {"driveline.transmission": answer.replace("automatic", "converter")}),
    Question("stall_speed", "At what speed does the converter stall?", "from its papers",
             "1900", place="driveline.stall_rpm", asked=_said("gearbox", "automatic")),
    Question("gears", "Axle ratio, and the gear in which it stumbles?", "plate on the axle, workshop manual",
             "4.10 x 2.52 first", place="driveline.overall_ratio", asked=_said("gearbox", "manual")),
    Question("tyres", "What is printed on the driven tyres?", "on the wall of the tyre", "205/60R15",
             place="driveline.wheel_radius_m", asked=_said("gearbox", "manual")),
    Question("weight", "What does it weigh as it drives?", "with driver and load", "3,200 lb",
             place="driveline.mass_kg", asked=_said("gearbox", "manual")),
    Question("barrels", "How many barrels has the carburettor?", "throttle bores", "4", place="carburettor.barrels",
             choices={"2": "two that open together", "4": "a front and a rear pair"}),
    Question("flow", "What air flow is it rated for?", "the carburettor's papers", "600 cfm",
             place="carburettor.rated_flow_m3_min"),
    Question("manifold", "What kind of intake manifold?", "how far the carburettor stands from the valves", "ordinary",
             choices={"ordinary": "one or two planes, runners of the usual length",
                      "long": "a tunnel, a plenum, or long runners"},
             unknown="an ordinary one is taken", writes=_manifold),
    Question("pumps", "How many accelerator pumps?", "one at the front, or one at either end", "1",
             choices={"1": "at the front", "2": "front and rear"}, asked=_said("barrels", "4"), unknown="one is taken",
             writes=lambda _: {}),
    *_circuit("front", "", lambda answers: answers.get("pumps") != "2"),
    *_circuit("front", " in front", _said("pumps", "2")),
    *_circuit("rear", " at the rear", _said("pumps", "2")),
    Question("checked", "Are float level, idle mixture and idle speed set?", "a fault there feels like one of the pump",
             "no", choices={"yes": "all three were looked at", "no": "not yet"}, unknown="no is taken",
             writes=lambda answer: {f"confirmed.{key}": True for key in CONFIRMED} if answer == "yes" else {}),
)  # fmt: skip
"""In the order in which they are asked."""

MORE = (
    Question("opening", "How fast is the throttle opened?", "stamped on: 0.1 s; pressed: 0.3 s", "0.15 s",
             place="tip_in.opening_time_s"),
    Question("manifold_volume", "Room in the manifold, below the throttles up to the valves?", "its papers",
             "2600 cc", place="manifold.volume_cc"),
    Question("distance", "How far is it from the carburettor to the intake valves?", "along the longest runner",
             "260 mm", place="manifold.distance_to_valves_mm"),
    Question("rear_opens", "At what front throttle angle do the rear throttles start?", "degree plate on its shaft",
             "35 deg", place="carburettor.rear_opens_at_deg", asked=_said("barrels", "4")),
    Question("inertia", "Inertia of crankshaft, flywheel and clutch?", "an engine builder's figures", "0.15 kg m2",
             place="engine.inertia_kg_m2", unknown="0.15 kg m2 is taken"),
    Question("air_temperature", "How warm is the air at the carburettor?", "a thermometer in the air cleaner", "20 C",
             place="engine.air_temperature_c", unknown="that of the altitude is taken"),
    Question("pad", "How much room is there between the bowl's underside and the manifold pad?",
             "carburettor in place: a gauge between the two, beside the pump, not from its body "
             "(docs/pictures/pad-clearance.svg)", "18 mm",
             place="manifold.pad_clearance_mm", unknown="it is to be measured before a larger pump is bought"),
    Question("bonnet", "How much room is there between air cleaner and closed bonnet?", "clay, close it slowly",
             "25 mm", place="manifold.bonnet_clearance_mm", unknown="it is to be measured before a spacer is bought"),
)  # fmt: skip
"""What may be asked besides, the ones first that move this car's answer most."""


def asked_of(answers: Answers) -> Iterator[Question]:
    """The questions that are asked, as far as is known from what was answered."""
    return (question for question in QUESTIONS if question.asked(answers))
