"""The work of a job card, section by section: each job stands on it only if this car and these changes call for it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from configurator.advice import aftercare
from configurator.car.fitted import FittedNozzle
from configurator.card.sheet import CardStep, Section
from configurator.card.words import length, of_circuit, part_words
from configurator.catalogue.parts import PumpFigures
from configurator.judging.case import Case
from configurator.reports import Combination, Finding
from configurator.rules import RULES
from configurator.slots.joints import joints_opened
from configurator.slots.options import Choice, Option, Stack
from configurator.slots.slot import SLOT_WORDS, Slot, SlotName
from configurator.units.units import show_diameter

FIRST_CHECKS = "first-checks-are-done"
SLACK, PRELOAD, OVERTRAVEL, SET_AGAIN = (
    "linkage-has-no-slack", "linkage-has-no-preload", "linkage-has-overtravel-clearance",
    "linkage-is-set-again-after-a-change",
)  # fmt: skip
CLEARS_PAD, CLEARS_BONNET = "pump-clears-the-manifold-pad", "spacer-fits-under-the-bonnet"
SPACER_SLOT, RELIEF_SLOT = Slot(None, "spacer"), Slot(None, "pad_relief")
CHECK = "discharge check (the ball or needle under the nozzle)"


@dataclass(frozen=True)
class CardJob:
    """What is asked for: a combination, as parts and as it was judged."""

    case: Case
    choice: Choice
    combination: Combination

    @cached_property
    def wrong(self) -> list[Finding]:
        """Findings that do not hold, or that nobody measured."""
        return [finding for finding in self.combination.findings if finding.holds is not True]

    @cached_property
    def changed(self) -> dict[Slot, Option]:
        return {slot: option for slot, option in self.choice.items() if option.changed}

    @property
    def comes_off(self) -> bool:
        """Whether the carburettor is taken off."""
        return SPACER_SLOT in self.changed or self.manifold_off

    @property
    def manifold_off(self) -> bool:
        return RELIEF_SLOT in self.changed

    def gap_changes(self, circuit: str) -> bool:
        """Whether the gap below a circuit's pump becomes another."""
        return bool({Slot(circuit, "pump"), SPACER_SLOT, RELIEF_SLOT} & self.changed.keys())

    def circuits_with(self, *slots: SlotName) -> list[str]:
        """Circuits in which one of these slots changes."""
        return [name for name in self.case.circuit_names if any(Slot(name, slot) in self.changed for slot in slots)]

    def fitted(self, circuit: str, slot: SlotName, *, new: bool = False) -> str:
        """The part that sits there now, or the new one."""
        option = (self.choice if new else self.case.as_fitted)[Slot(circuit, slot)]
        return part_words(option) if option.code else self.of(circuit, f"{SLOT_WORDS[slot]} ({option.label})")

    def of(self, circuit: str | None, what: str) -> str:
        return of_circuit(self.case, circuit, what)

    def both(self, circuits: Sequence[str], what: str) -> str:
        """What it is called in these circuits together."""
        return self.of(" and ".join(circuits), what)

    def boxes(self, circuits: Sequence[str], *labels: str) -> list[str]:
        """A box for each circuit and label."""
        return [self.of(name, label).strip() for name in circuits for label in labels or ("",)]

    def each(self, words: Mapping[str, str]) -> str:
        """What is to be said of each circuit, in one line; said once where it is the same."""
        told = {name: text for name, text in words.items() if text}
        if len(told) == len(self.case.circuit_names) and len(set(told.values())) == 1:
            return next(iter(told.values()))
        return "; ".join(f"{self.of(name, '').strip()}: {text}".removeprefix(": ") for name, text in told.items())

    def unmeasured(self, rule: str, circuit: str | None) -> str:
        """How to measure what a rule lacks; empty where it was measured."""
        return next((f.mend for f in self.wrong if (f.rule, f.circuit, f.holds) == (rule, circuit, None)), "")

    def text(self, finding: Finding) -> str:
        where = f"{finding.circuit}: " if finding.circuit and len(self.case.circuit_names) > 1 else ""
        said = finding.mend if finding.holds is None else "; ".join(filter(None, (finding.says, finding.mend)))
        return sentence(where + said)


def sentence(text: str) -> str:
    """With a capital letter, as a step of its own."""
    return text[:1].upper() + text[1:]


def tick(text: str, how: str = "") -> CardStep:
    return CardStep(text=sentence(text), how=sentence(how))


def measure(text: str, unit: str, expected: str, how: str = "", boxes: Sequence[str] = ("",)) -> CardStep:
    return CardStep(
        text=sentence(text), kind="measure", unit=unit, expected=expected, boxes=list(boxes), how=sentence(how)
    )


def before(job: CardJob) -> Section:
    steps = [
        tick("fresh air, never over a pit; no flame, heater, cigarette, grinder or sparking switch anywhere near"),
        tick("extinguisher for burning liquids within reach, someone with you who can use it; eyes and hands covered"),
        tick("a closed metal can for the fuel, a lidded tin for the rags"),
    ]
    if job.changed:
        steps.append(tick("emission, inspection and competition rules allow this change"))
    return Section(title="Before you start", steps=steps)


def sections(job: CardJob) -> list[Section]:
    """The work in its order; sections without a step are left out."""
    made = [
        _first_checks(job), _faults(job), _take_apart(job), _bench(job), _put_together(job), _clearances(job),
        _before_start(job), _road(job),
    ]  # fmt: skip
    return [section for section in made if section.steps]


def _first_checks(job: CardJob) -> Section:
    done, idle_rpm = job.case.vehicle.confirmed, job.case.vehicle.engine.idle_rpm
    cautions = [
        "The engine runs for two of these: exhaust led outside, air cleaner on, hands and sleeves clear of the fan."
    ]
    cautions += [job.text(finding) for finding in job.wrong if finding.rule == FIRST_CHECKS]

    def said(is_set: bool) -> str:
        return "set, says the vehicle file: look again" if is_set else "not confirmed yet"

    steps = [
        measure("float level", "mm", "by the maker's data", said(done.float_level)),
        CardStep(text="Idle mixture", kind="write", boxes=["turns out"], how=sentence(said(done.idle_mixture))),
        measure("idle speed, warm", "rev/min", f"{idle_rpm:g} rev/min", said(done.idle_speed)),
    ]
    return Section(title="First checks", cautions=cautions, steps=steps)


def _faults(job: CardJob) -> Section:
    faults = [finding for finding in job.wrong if is_fault(finding) and finding.rule != FIRST_CHECKS]
    return Section(title="Put right first: no part mends it", steps=[tick(job.text(finding)) for finding in faults])


def is_fault(finding: Finding) -> bool:
    """Whether it was found on the car and is put right by hand, not by choosing parts."""
    return finding.holds is False and finding.severity != "note" and not RULES[finding.rule].is_choosable


def _take_apart(job: CardJob) -> Section:
    """What comes off, from above downwards, so that the carburettor is on the bench before its pumps are opened."""
    if not job.changed:
        return Section(title="", steps=[])
    cautions = [
        "Engine gone cold, earth lead off the battery, before a fuel line or the carburettor is opened.",
        "What drops into the throats wrecks an engine: cover them with a clean cloth, and count what comes off.",
    ]
    steps = [*_bonnet_first(job), tick("engine cold; earth lead off the battery; air cleaner off; throats covered")]
    if job.comes_off or job.circuits_with("pump"):
        steps.append(tick("ease the pressure off the fuel line; drain the bowls into the can"))
    seats = job.circuits_with("nozzle", "feed_screw")
    if seats:
        steps.append(tick(f"{job.both(seats, 'feed screw')} out; lift the nozzle off with its gaskets"))
        loose = "lift it out before the body is tipped" if job.comes_off else "cover it, do not tip the body"
        text = f"{job.both(seats, CHECK)}: falls out of an inverted body; {loose}; count the pieces"
        steps.append(measure(text, "pieces", "", boxes=job.boxes(seats)))
    if job.comes_off:
        steps.append(tick("fuel line, vacuum hoses, throttle, kick-down and choke linkage off, each marked"))
        steps.append(tick("carburettor off, upright; openings of the manifold covered"))
    for name in job.circuits_with("lobe"):
        steps.append(tick(f"mark how the {job.of(name, 'lobe')} sits: {job.fitted(name, 'lobe')}; undo it"))
    for name in job.circuits_with("pump"):
        steps.append(
            tick(f"{job.of(name, 'pump')} off, cover and lever in one: petrol runs out, spring and diaphragm drop out")
        )
    if SPACER_SLOT in job.changed and job.case.as_fitted[SPACER_SLOT].code:
        steps.append(tick(f"take {job.case.as_fitted[SPACER_SLOT].label} off with its gaskets"))
    if job.manifold_off:
        steps.append(tick("intake manifold off the engine; coolant drained first if it runs through it"))
    return Section(title="Take apart", cautions=cautions, steps=steps)


def _bonnet_first(job: CardJob) -> Iterable[CardStep]:
    """Room that has to be there before a spacer goes in, where nobody has measured it."""
    how, stack = job.unmeasured(CLEARS_BONNET, None), job.choice[SPACER_SLOT].read(Stack)
    if how and SPACER_SLOT in job.changed:
        needed_mm = job.case.catalog.limits.bonnet_clearance_mm + stack.bonnet_mm
        yield measure("room under the closed bonnet as it is", "mm", f"at least {length(needed_mm)}", how)


def _bench(job: CardJob) -> Section:
    steps = [step for name in job.circuits_with("nozzle") for step in _orifices(job, name)]
    steps += [step for name in job.case.circuit_names for step in _pad_first(job, name)]
    depth_mm = job.choice[RELIEF_SLOT].read(float)
    if job.manifold_off:
        steps.append(measure("wall of the manifold at the pad", "mm", f"well over {length(depth_mm)}", aftercare.PAD))
        steps.append(measure("depth cut", "mm", length(depth_mm)))
        steps.append(tick("every chip out of the manifold: washed, blown through, looked through"))
    joints = sorted(joints_opened(job.choice))
    for line in job.combination.consumables:
        opened = [job.of(name, joint.replace("_", " ")) for name, joint in joints if joint == line.joint]
        text = f"{' and '.join(opened)}: old gaskets off, faces clean; new {line.quantity} x {line.code}"
        steps.append(tick(text))
    return Section(title="Measure, before anything goes back", steps=steps)


def _orifices(job: CardJob, name: str) -> Iterable[CardStep]:
    slot = Slot(name, "nozzle")
    old, new = job.case.as_fitted[slot], job.choice[slot]
    nozzle = job.of(name, "nozzle")
    if new.work == "redrill":
        yield tick(f"{nozzle}: {new.label}", "by hand in a pin vice; deburred, blown out, eyes covered; no way back")
        yield _pin_gauge(f"drilled {nozzle}", new, aftercare.MEASURE)
        return
    if not old.read(FittedNozzle).measured:
        yield _pin_gauge(f"old {nozzle} {old.code or ''}", old, "what was felt was felt with it")
    tolerance = show_diameter(job.case.catalog.limits.stamped_tolerance_mm)
    yield _pin_gauge(f"new {nozzle} {new.code or ''}", new, f"more than {tolerance} off: say so before it goes in")


def _pin_gauge(what: str, option: Option, how: str) -> CardStep:
    nozzle = option.read(FittedNozzle)
    boxes = [str(number) for number in range(1, nozzle.orifices + 1)]
    expected = show_diameter(nozzle.diameter_mm)
    return measure(f"{what.strip()}: each orifice with a pin gauge", "mm", expected, how, boxes)


def _pad_first(job: CardJob, name: str) -> Iterable[CardStep]:
    """Room that has to be there before a pump goes on, where nobody has measured it."""
    how, pump = job.unmeasured(CLEARS_PAD, name), job.choice[Slot(name, "pump")].read(PumpFigures)
    stack, relief_mm = job.choice[SPACER_SLOT].read(Stack), job.choice[RELIEF_SLOT].read(float)
    if how and job.gap_changes(name):
        least_mm = job.case.catalog.limits.pump_pad_clearance_mm
        needed_mm = least_mm + pump.depth_below_bowl_mm - stack.thickness_mm - relief_mm
        text = f"{job.of(name, 'bowl')}'s underside to the manifold pad, as it stands"
        yield measure(text, "mm", f"at least {length(needed_mm)}", how)


def _put_together(job: CardJob) -> Section:
    """What goes back, in the opposite order."""
    steps: list[CardStep] = []
    if job.manifold_off:
        steps.append(tick("intake manifold on with its new gasket, tightened in the maker's order"))
    if SPACER_SLOT in job.changed:
        spacer = job.choice[SPACER_SLOT]
        steps.append(
            tick("no spacer goes back" if spacer.work == "remove" else f"fit {part_words(spacer)}, ports in line")
        )
    for name in job.circuits_with("pump"):
        steps.append(tick(f"fit {job.fitted(name, 'pump', new=True)}: spring and diaphragm seated, screws crosswise"))
    for name in job.circuits_with("lobe"):
        steps.append(tick(f"fit {job.fitted(name, 'lobe', new=True)} on the throttle shaft"))
    if job.comes_off:
        steps.append(tick("carburettor on, nuts crosswise; fuel line, hoses and linkage back by their marks"))
    seats = job.circuits_with("nozzle", "feed_screw")
    if seats:
        held = [f"{job.fitted(n, 'nozzle', new=True)} under {job.fitted(n, 'feed_screw', new=True)}" for n in seats]
        parts = job.each(dict(zip(seats, held, strict=True)))
        check = f"{job.both(seats, 'discharge check')} back, as many pieces as came out"
        steps.append(tick(f"{check}; {parts}; new gaskets above and below"))
    if aftercare.SPACER in job.combination.aftercare:
        steps.append(tick(aftercare.SPACER))
    return Section(title="Put together", steps=steps)


def _clearances(job: CardJob) -> Section:
    limits, names = job.case.catalog.limits, job.case.circuit_names
    again = {f.circuit: f.mend for f in job.wrong if f.rule == SET_AGAIN}
    closed = {
        name: "; ".join(filter(None, (again.get(name), job.unmeasured(SLACK, name), job.unmeasured(PRELOAD, name))))
        for name in names
    }
    steps = [
        measure(
            f"{job.both(names, 'linkage')}, throttle closed: the lever just touches; no slack, no preload", "mm",
            f"each at most {length(limits.linkage_tolerance_mm)}", job.each(closed),
            job.boxes(names, "slack", "preload"),
        ),
        measure(
            f"{job.both(names, 'linkage')}, throttle full open: clearance left at the lever", "mm",
            f"at least {length(limits.overtravel_clearance_mm)}",
            job.each({name: job.unmeasured(OVERTRAVEL, name) for name in names}), job.boxes(names),
        ),
    ]  # fmt: skip
    gaps = [name for name in names if job.gap_changes(name)]
    if gaps:
        text = f"gap below the {job.both(gaps, 'pump')}, down to the manifold"
        steps.append(measure(text, "mm", f"at least {length(limits.pump_pad_clearance_mm)}", boxes=job.boxes(gaps)))
    if SPACER_SLOT in job.changed:
        least = f"at least {length(limits.bonnet_clearance_mm)}"
        steps.append(measure("room under the closed bonnet: clay on the air cleaner, close it slowly", "mm", least))
    cautions = ["Engine stopped; fingers out of the linkage while someone moves the throttle."]
    return Section(title="Linkage and clearances", cautions=cautions, steps=steps)


def _before_start(job: CardJob) -> Section:
    steps = [tick(aftercare.THROTTLE)]
    if job.changed:
        counted = "screws, old gaskets and tools" if joints_opened(job.choice) else "screws and tools"
        steps.append(tick(f"cloths out of the throats; {counted} counted: none left over, none missing"))
    if aftercare.LEAKS in job.combination.aftercare:
        steps.append(tick(aftercare.LEAKS, "bowls filled; the earth lead on for that only"))
    if job.circuits_with("nozzle", "feed_screw", "pump"):
        text = "engine off and cold, eyes covered, from the side: move the throttle once; every orifice squirts at once"
        steps.append(tick(text, "what was squirted lies in the manifold: let it dry off"))
    if job.changed:
        steps.append(tick("air cleaner on; earth lead back on the battery"))
    placed = {aftercare.THROTTLE, aftercare.SPACER, aftercare.MEASURE, aftercare.PAD, aftercare.LEAKS}
    steps += [tick(text) for text in job.combination.aftercare if text not in placed]
    cautions = ["Never look down the throats of an engine that is cranked or runs; keep the air cleaner on."]
    return Section(title="Before the first start", cautions=cautions, steps=steps)


def _road(job: CardJob) -> Section:
    tip_in = job.case.vehicle.tip_in
    start = "from idle" if tip_in.start == "idle" else f"from a cruise at {tip_in.cruise_rpm:g} rev/min"
    steps = [
        tick("engine warm, choke off; idle speed and mixture looked at once more"),
        tick(f"gear as when it was felt; throttle opened {start} in about {tip_in.opening_time_s:g} s; three runs"),
        tick("feel for the first moment (a hesitation, a pop), then the pull (dull, clean), then look for smoke"),
        CardStep(text="Air temperature, driver", kind="write", boxes=["deg C", "driver"]),
    ]
    cautions = [
        "Closed ground or a dynamometer only, with a second person to watch. If it stumbles badly or pops back, stop: "
        "do not try how badly."
    ]
    return Section(title="Road test", cautions=cautions, steps=steps)
