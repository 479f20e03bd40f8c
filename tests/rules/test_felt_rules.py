"""Rules on what is felt, at figures that no driver would give."""

import numpy as np
import pytest
from test_rules import columns

from configurator.rules import RULES


@pytest.mark.parametrize(("rule", "column"), [("pull-does-not-go-flat", "lean_sag_percent"),
                                              ("pull-does-not-nose-over", "rich_sag_percent")])  # fmt: skip
@pytest.mark.parametrize(("found", "told"), [(161.0, 100.0), (40.0, 40.0), (np.inf, np.inf)])
def test_a_pull_falls_by_all_of_it_at_most(rule: str, column: str, found: float, told: float) -> None:
    """To fall by 161 % says nothing to a driver; a lobe that meets no lever has no figure at all."""
    assert RULES[rule].readings(columns(shot={column: found}))[0] == told
