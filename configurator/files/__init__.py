"""Files with care: every fault at once, with its place; written whole or not at all."""
