"""What a workshop learns and keeps: trial runs, what they say of an engine, and what is on the shelf."""
