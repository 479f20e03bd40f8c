"""The local web page: what people in a workshop choose with, a card and an order at hand."""
