"""Mixture traces: a logger's file, the tip-ins in it, and what they say of hole and flood."""
