"""What the engine asks for when the throttle opens, and what a pump circuit delivers.

Arrays in, arrays out, SI units throughout. Nothing in here knows a part's code, a file or a solver.
"""
