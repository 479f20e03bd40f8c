"""The catalogue: parts, what can be bought, and the figures that rules judge by, from files to records."""
