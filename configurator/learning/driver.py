"""How likely a driver is to answer so: a judgement of three complaints, each with an error of its own.

    perceived complaint = complaint + N(0, spread^2)        all below 0: clean; else the largest names the word

How large it is perceived says how strongly it is felt. A complaint is ln((what is felt + a)/(what goes unfelt + a)), as
physics.verdict has it. A few runs are misjudged, or spoilt by something else: each answer is then as likely as another.
After J. Aitchison and S. D. Silvey, "The generalization of probit analysis to the case of multiple responses",
Biometrika 44 (1957), for cuts through a normal judgement. Figures are assumed.
"""

from math import erf
from typing import get_args

import numpy as np

from configurator.arrays import Array, Reals
from configurator.book.records import Felt
from configurator.judging.feelings import Complaint, symptom_felt
from configurator.physics.verdict import Complaints

JUDGEMENT_SPREAD = 0.45
"""Standard deviation of a driver's judgement of a complaint."""
FAINT_UNTIL, CLEAR_UNTIL = 0.45, 1.2
"""Complaints up to the first are faint, up to the second clear, beyond it strong."""
MISJUDGED_SHARE = 0.05
"""Share of runs that were misjudged, or spoilt by something else."""
COMPLAINTS: tuple[Complaint, ...] = get_args(Complaint)
STRENGTHS = ("faint", "clear", "strong")
ANSWERS = ("clean", *(f"{complaint}, {strength}" for complaint in COMPLAINTS for strength in STRENGTHS))
CLEAN = 0
FAINT_IS_RIGHT = 0.5
"""Share of faint complaints that others would call clean."""
_CUTS = (0.0, FAINT_UNTIL, CLEAR_UNTIL, 4.0)
_POINTS_A_STRENGTH = (3, 4, 6)
_Z = np.linspace(-6.0, 6.0, 2401)
_BELOW = np.array([0.5 * (1.0 + erf(z / np.sqrt(2.0))) for z in _Z]).astype(np.float32)


def normal_share(z: Reals) -> Reals:
    """Share of a standard normal distribution below z, to 1e-5.

    >>> normal_share(np.array([0.0, 1.6448536269514722])).round(4).tolist()
    [0.5, 0.95]
    """
    place = (np.clip(z, -6.0, 6.0) + 6.0) * 200.0
    below = place.astype(np.int32)
    return np.asarray(_BELOW[below] + (place - below) * (_BELOW[np.minimum(below + 1, 2400)] - _BELOW[below]))


def answer_chances(felt: Complaints, spread: float = JUDGEMENT_SPREAD) -> Array:
    """Probability of each of ANSWERS, misjudged runs left out, shape (answers, n, points)."""
    complaints = np.array([felt.hesitates, felt.flat, felt.rich], dtype=np.float32)
    chances = np.zeros((len(ANSWERS), *complaints.shape[1:]))
    chances[CLEAN] = np.prod(normal_share(-complaints / spread), axis=0)
    row = CLEAN + 1 + len(STRENGTHS) * np.arange(len(COMPLAINTS))
    for strength, points in enumerate(_POINTS_A_STRENGTH):
        low, high = _CUTS[strength : strength + 2]
        at, weights = np.polynomial.legendre.leggauss(points)
        for where, weight in zip(
            0.5 * (high + low) + 0.5 * (high - low) * at, 0.5 * (high - low) * weights, strict=True
        ):
            z = (where - complaints) / spread
            here = np.exp(-0.5 * z * z) * (weight / (spread * np.sqrt(2.0 * np.pi)))
            below = normal_share(z)
            for one in range(len(COMPLAINTS)):
                others = np.prod([below[other] for other in range(len(COMPLAINTS)) if other != one], axis=0)
                chances[row[one] + strength] += here[one] * others
    # What is perceived as stronger than the last cut is strong, too
    beyond = np.clip(1.0 - chances.sum(axis=0), 0.0, None)
    worst = complaints.argmax(axis=0)
    for one in range(len(COMPLAINTS)):
        chances[row[one] + 2] += np.where(worst == one, beyond, 0.0)
    return np.asarray(chances / chances.sum(axis=0))


def felt_weights(felt: Felt) -> Array:
    """How a symptom, its strength and its moment spread over ANSWERS; raises BadInput for a word there is not.

    >>> [ANSWERS[place] for place in felt_weights(Felt(word="stumble", strength="strong")).nonzero()[0]]
    ['hesitates, strong', 'flat, strong']
    >>> at_once = Felt(word="stumble", strength="strong", moment="at-once")
    >>> [ANSWERS[place] for place in felt_weights(at_once).nonzero()[0]]
    ['hesitates, strong']
    """
    symptom, weights = symptom_felt(felt.word, felt.moment), np.zeros(len(ANSWERS))
    if symptom.side == 0:
        weights[CLEAN] = 1.0
        return weights
    strength = {"strong": "clear", "clear": "faint"}.get(felt.strength, "faint") if symptom.faint else felt.strength
    for complaint, share in symptom.tells.items():
        weights[ANSWERS.index(f"{complaint}, {strength}")] = share
    if strength == "faint":
        weights *= 1.0 - FAINT_IS_RIGHT
        weights[CLEAN] = FAINT_IS_RIGHT
    return weights
