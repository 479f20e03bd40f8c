"""What a recorded pull would look like by all that is known of the car: with the parts that were in, and with what is
next."""

from collections.abc import Sequence

from configurator.advice.named_choice import PartPutIn, choice_after
from configurator.book.records import PullMeasured, Trial, car_of
from configurator.judging.case import Case
from configurator.learning.as_known import Known
from configurator.learning.recording.pull_model import ModelPull, model_pull


def pull_expected(known: Known, run: Trial, pull: PullMeasured, changes: Sequence[PartPutIn]) -> ModelPull:
    """Of the parts of a run, in what is believed of the engine. changes : the next step, shown where it starts from
    those parts."""
    engine = known.believed.middle
    if any(run.codes.get(str(slot)) != option.label for slot, option in known.case.as_fitted.items()):
        return model_pull(Case.of(car_of(run), known.case.catalog).at(engine), pull)
    now = known.case.at(engine)
    return model_pull(now, pull, choice_after(now, changes) if changes else None)
