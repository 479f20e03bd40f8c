"""What stays to be done by hand once parts are changed, by the kind of change. Common practice, no source."""

from configurator.slots.options import Choice

THROTTLE = "by hand, engine off: the throttle opens fully and snaps shut by itself; one that sticks open kills"
LEAKS = "look for leaks with the fuel pump primed before the first start"
SPACER = (
    "studs long enough, throttle and kick-down linkage, choke rod and fuel line free; close the bonnet slowly on clay"
)
MEASURE = "measure the drilled orifice with a pin gauge, and enter what it measures"
PAD = "measure the wall of the manifold before cutting; cut with the manifold off the engine: chips wreck an engine"


def aftercare(choice: Choice) -> list[str]:
    """Jobs that a choice's changes bring with them, the most dangerous to forget first."""
    changed = {slot.name for slot, option in choice.items() if option.changed}
    works = {option.work for option in choice.values()}
    jobs = []
    if {"pump", "lobe", "spacer", "pad_relief"} & changed:
        jobs.append(THROTTLE)
    if "relieve" in works:
        jobs.append(PAD)
    if "spacer" in changed:
        jobs.append(SPACER)
    if "redrill" in works:
        jobs.append(MEASURE)
    if {"nozzle", "feed_screw", "pump", "spacer", "pad_relief"} & changed:
        jobs.append(LEAKS)
    return jobs
