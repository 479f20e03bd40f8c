"""Tables as loggers write them: what their columns mean, and their figures in order of time."""
