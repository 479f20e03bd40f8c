"""Choosing parts: the only room that imports ortools, and only when it is called."""
