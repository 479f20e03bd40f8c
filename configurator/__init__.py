"""tipin: chooses the parts of a carburettor's accelerator-pump circuit."""

__version__ = "0.1.0"
