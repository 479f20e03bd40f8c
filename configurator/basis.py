"""What a figure rests on, in the words that files, rules and pages share."""

PUBLISHED = "published"
COMMON_PRACTICE = "common practice, no source"
ASSUMED = "assumed"
OWN_REQUEST = "as asked for"
