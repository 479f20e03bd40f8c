"""What a catalogue says once for all its rows: the currency of its prices; and how a price is told with it."""

from typing import Literal

from configurator.files.declared import Record, figure


class CatalogSetting(Record):
    """One row of settings.csv; the file may be left out."""

    name: Literal["currency"] = figure("currency")
    value: str = figure("what stands behind every price, such as GBP, EUR or kr", min_length=1, max_length=8)


def price_text(amount: float, currency: str = "") -> str:
    """A price to read, with the currency of its catalogue where that names one.

    >>> price_text(13.5, "GBP"), price_text(13.5)
    ('13.50 GBP', '13.50')
    """
    return f"{amount:.2f} {currency}".rstrip()
