"""A run whose pull was recorded says the same in an order as anywhere: worked out as a piece, kept, and read again."""

from datetime import UTC, datetime

import numpy as np
from random_cars import case_with, few_parts, random_car

from configurator.book.records import Conditions, Felt, PullMeasured, TipInMeasured, trial_of
from configurator.learning.belief import run_of, run_with
from configurator.ordering.needs_pieces import fitted_from, is_sound, run_key, run_piece, worked_out

TIP_IN = TipInMeasured(at_s=3, rise_ms=190, rise_doubt_ms=6, sag_percent=4, sag_doubt_percent=1, sag_at_ms=700)
PULL = PullMeasured(tip_ins=[TIP_IN, TIP_IN], from_throttle=False, smoothed_ms=60)


def test_a_recorded_pull_says_the_same_by_its_piece() -> None:
    for seed in (0, 3):
        case = case_with(random_car(seed), few_parts())
        felt = Felt.model_validate({"word": "stumble"})
        plain, pulled = (
            trial_of(case, datetime(2026, 5, 4, tzinfo=UTC), felt, Conditions(), pull=pull) for pull in (None, PULL)
        )
        assert run_key(plain) != run_key(pulled)
        pieces = [run_piece(trial, run_key(trial)) for trial in (plain, pulled)]
        found = [worked_out(piece, case.catalog) for piece in pieces]
        assert all(is_sound(piece, arrays, case.catalog) for piece, arrays in zip(pieces, found, strict=True))
        assert not is_sound(pieces[1], found[0], case.catalog), "what a recording is held against is missing"
        said, expected = run_with(pulled, fitted_from(found[1])), run_of(pulled, case.catalog)
        assert said.pulled is not None and expected.pulled is not None
        assert np.array_equal(said.pulled, expected.pulled) and np.array_equal(said.rightly, expected.rightly)
        assert run_with(plain, fitted_from(found[0])).pulled is None
