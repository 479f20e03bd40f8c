"""Choosing parts exactly: by a sweep over classes of parts, and by CP-SAT as the general way and the judge."""
