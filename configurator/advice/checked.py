"""What the rules find on a car as it is now, judged by what its runs say."""

from collections.abc import Sequence
from dataclasses import replace

from configurator.advice.over_unknown import over_what_is_not_known
from configurator.book.car_now import CarNow
from configurator.book.car_records import CarRecords
from configurator.book.fitted_told import told_otherwise
from configurator.judging.findings import check
from configurator.learning.as_known import known_by
from configurator.reports import CheckReport
from configurator.slots.wishes import choose, read_wishes


def checked(now: CarNow, records: CarRecords, fit: Sequence[str], *, everything: bool) -> CheckReport:
    """Findings on what is in the car by the book, or would be with parts put in, its linkage as found; where file and
    book differ, and by what it is judged. fit : parts as a user names them. Raises BadInput for one there is not."""
    known, wishes = known_by(now.case, records.runs), read_wishes(now.case.options, [], fit, [])
    found = check(
        now.case.at(known.case.engine), wishes, everything=everything,
        notes=[*told_otherwise(now, records), *known.judged], felt=known.felt_with(choose(now.case.options, wishes)),
    )  # fmt: skip
    return over_what_is_not_known(found, replace(known, set_aside=[*records.set_aside, *known.set_aside]))
