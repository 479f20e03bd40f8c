"""What runs say of an engine, and what to try next to learn more."""
