"""A vehicle as its owner describes it, and what is fitted on it."""
