"""One question, one answer each: what to fit, what fits, what moves the answer, what to try next."""
