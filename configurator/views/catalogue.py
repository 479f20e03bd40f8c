"""What was written into a catalogue, as plain text."""

from collections.abc import Iterable

from configurator.catalogue.load import FAMILIES
from configurator.catalogue.own import CatalogueReport, RowChanged
from configurator.catalogue.settings import price_text
from configurator.catalogue.sheet_import import ImportReport
from configurator.files.declared import unit_of
from configurator.views.marks import mark
from configurator.views.tables import counted, wrapped

MOST_ROWS_SHOWN = 40


def catalogue_text(report: CatalogueReport) -> str:
    """What was made, added or corrected, row by row."""
    if report.did == "made":
        prices = f"prices in {report.currency}" if report.currency else "no currency named"
        return f"{mark('OK')}  {report.catalogue}: made as a copy of the shipped catalogue; {prices}"
    if report.did == "left":
        return f"{mark('OK')}  {report.catalogue}: nothing to write, it stands there so already"
    lines = [f"{mark('OK')}  {report.catalogue}/{report.family}.csv: {report.did}"]
    return "\n".join(
        [*lines, *(wrapped(row_text(row, report.family, report.currency), "      ", "  ") for row in report.rows)]
    )


def import_text(report: ImportReport) -> str:
    """What a sheet would bring: how much first, then row by row, then what is wrong with it."""
    numbers = [f"{len(report.added)} to add", f"{len(report.changed)} to change", f"{report.alike} left as they are"]
    numbers += [f"{report.passed_over} passed over, as their code is not here"] if report.passed_over else []
    numbers += [counted(len(report.faults), "fault")] if report.faults else []
    taken = ", ".join(f"{column} from '{heading}'" for column, heading in report.headings.items())
    unused = f"not used: {', '.join(report.unused)}" if report.unused else ""
    lines = [f"{mark('NO' if report.faults else 'OK')}  {report.file} into {report.catalogue}/{report.family}.csv: "
             f"{', '.join(numbers)}", *(wrapped(text, "      ", "  ") for text in (taken, unused) if text)]  # fmt: skip
    for title, rows in (("Add:", report.added), ("Change:", report.changed)):
        lines += ["", title] if rows else []
        lines += [
            wrapped(row_text(row, report.family, report.currency), "      ", "  ") for row in rows[:MOST_ROWS_SHOWN]
        ]
        lines += [f"  and {len(rows) - MOST_ROWS_SHOWN} more"] if len(rows) > MOST_ROWS_SHOWN else []
    if report.faults:
        more = len(report.faults) - MOST_ROWS_SHOWN
        lines += ["", "At fault:", *(wrapped(fault, "      ", "  ") for fault in report.faults[:MOST_ROWS_SHOWN])]
        lines += [f"  and {more} more"] if more > 0 else []
    return "\n".join(lines)


def row_text(row: RowChanged, family: str, currency: str) -> str:
    """A row by what was written in it; beside it what stood there, or what was taken from rows of its kind."""

    def told(name: str, cell: str) -> str:
        money = cell and unit_of(FAMILIES[family].model_fields[name]) == "currency"
        return price_text(float(cell), currency) if money else cell or "(empty)"

    def named(names: Iterable[str]) -> str:
        return ", ".join(f"{name} {told(name, row.cells[name])}" for name in names)

    if row.before:
        moved = (f"{name} {told(name, row.before[name])} -> {told(name, cell)}" for name, cell in row.cells.items())
        return f"{row.code}: {', '.join(moved)}"
    said = named(name for name in list(row.cells)[1:] if name not in row.as_its_kind)
    return f"{row.code}: {said}" + (f"; as most of its kind here: {named(row.as_its_kind)}" if row.as_its_kind else "")
