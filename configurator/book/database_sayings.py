"""What a database said when it failed, in plain words: problem, expectation, remedy."""

import re

from sqlalchemy.exc import DBAPIError, OperationalError

Saying = tuple[str, str, str]

_NOTHING = "nothing was changed"
PUT_BACK = "put back a copy of it with `tipin book restore COPY`"
_ASK = "ask who looks after the server"
_HELD: Saying = ("another program has held it for too long", "", f"{_NOTHING}; close that and try again")
_FULL: Saying = ("there is no room left for it on the disk", "", f"{_NOTHING}; make room and try again")
_READ_ONLY: Saying = ("may only be read here, not changed", "", "ask for the right to write it, or name another")

# By the start of the name that SQLite gives an error.
_SQLITE: dict[str, Saying] = {
    "SQLITE_NOTADB": ("is no workshop book: it is not a database", "a workshop book", "name another file"),
    "SQLITE_CORRUPT": ("is damaged", "a sound workshop book", PUT_BACK),
    "SQLITE_FULL": _FULL,
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_CANTOPEN": ("cannot be opened", "a file that may be read and written", "look at its folder and rights"),
    "SQLITE_BUSY": _HELD,
    "SQLITE_IOERR": ("the disk refused to read or write it", "", f"{_NOTHING}; look at the disk, try again"),
}

# By the start of the code that PostgreSQL gives an error, which the SQL standard makes.
_SQLSTATE: dict[str, Saying] = {
    "25006": _READ_ONLY,
    "42501": ("this user may not do that in it", "", f"{_NOTHING}; {_ASK} to grant it, or use another user"),
    "3F": ("has no schema in which this user may keep tables", "", f"{_ASK} to make one"),
    "53100": _FULL,
    "53": ("the server has no room or connection to spare", "", f"{_NOTHING}; try again later"),
    "55P03": _HELD,
    "57014": ("the server broke the work off", "", f"{_NOTHING}; try again"),
    "40": ("others wrote to it at the same moment, again and again", "", f"{_NOTHING}; try again"),
    "22001": ("a text is too long for it", "a shorter one", _NOTHING),
    "22021": ("a text holds a sign that PostgreSQL cannot keep", "text without it", _NOTHING),
    "22P05": ("a text holds a sign that this database cannot keep", "a database made with ENCODING UTF8", _NOTHING),
}

# By words of the driver where there is no code: nobody answered, or the server showed the door.
_WORDS: dict[str, Saying] = {
    r"NUL \(0x00\)": ("a text holds a sign that PostgreSQL cannot keep (NUL)", "text without it", _NOTHING),
    r"password|authentication|role .* does not exist": (
        "the server does not let this user in with this password", "",
        "look at the user's name; put the password into PGPASSWORD or a password file",
    ),
    r"database .* does not exist": ("the server has no database of that name", "", f"{_ASK} to make it"),
    r"permission denied for database": ("this user may not use that database", "", f"{_ASK} to grant it"),
    r"pg_hba\.conf": (
        "the server does not take this user from this machine", "", f"{_ASK}; it may want sslmode=require in the URL"
    ),
    r"SSL|certificate": ("no encrypted connection came about", "", "look at sslmode and sslrootcert in the URL"),
    r"resolve host|translate host": ("no machine goes by that name here", "", "look at the host in the URL"),
    r"invalid port|invalid \w+ value|invalid connection option": (
        "its URL asks for what the driver does not know", "", "look at the port, and at what stands behind the ?"
    ),
    r"too many clients|connection slots": ("the server has no connection to spare", "", "try again later"),
    r"the database system is|not yet accepting": ("the server is starting or stopping", "", "try again in a minute"),
    r"refused|timeout|timed out|unreachable|No route|No such file|closed|terminat|reset|lost": (
        "no server answers there", "", "look at host and port, and whether PostgreSQL runs there; nothing was changed"
    ),
}  # fmt: skip
_NOBODY_YET = re.compile(
    "the database system is|not yet accepting|too many clients|connection slots|Connection refused|"
    "closed the connection unexpectedly|administrator command|No such file"
)
"""What a first connection meets where the server is about to answer: one that does not exist says the same."""
_STOPPING = ("57P01", "57P02", "57P03")

DRIVER_MISSING: Saying = (
    "needs the driver of PostgreSQL, which is not installed", "", "pip install '.[postgres]' in tipin's folder"
)  # fmt: skip
NOT_CERTAIN: Saying = (
    "the connection broke while the change was being confirmed: it is in the book whole, or not at all", "",
    "look at the list of runs or the history of the shelf before you enter it again",
)  # fmt: skip


def saying_of(error: DBAPIError) -> Saying | None:
    """None for what is not foreseen: then its own words have to do."""
    name, code, words = _name_of(error), code_of(error), str(error.orig)
    for start, saying in (_SQLITE if name else _SQLSTATE).items():
        if (name or code).startswith(start):
            return saying
    if name or (code and not error.connection_invalidated):
        return None
    return next((saying for pattern, saying in _WORDS.items() if re.search(pattern, words)), None)


def passes(error: DBAPIError, was_reached: bool) -> bool:
    """Whether the same work may well succeed in a moment, as when the server is just being restarted. was_reached :
    whether it had answered before."""
    if _name_of(error):
        return False
    if error.connection_invalidated or code_of(error)[:2] == "40" or code_of(error) in _STOPPING:
        return True
    gone = isinstance(error, OperationalError) and not code_of(error)
    return gone and (was_reached or bool(_NOBODY_YET.search(str(error.orig))))


def code_of(error: DBAPIError) -> str:
    """SQLSTATE; empty where the driver gives none."""
    return str(getattr(error.orig, "sqlstate", None) or "")


def _name_of(error: DBAPIError) -> str:
    return str(getattr(error.orig, "sqlite_errorname", ""))
