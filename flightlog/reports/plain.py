"""Text that any screen can take: no control codes, nothing that the screen can't print.

Texts from logs and file names come from outside. Whatever they hold, they are printed as
harmless characters on the line where they belong.
"""

from __future__ import annotations

import re
import unicodedata

# Well-formed terminal sequences go as a whole. What is not well formed loses only its
# control characters, so that nothing after it can be hidden.
_SEQUENCES = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]{0,64}[ -/]{0,8}[@-~]"  # cursor, colour, erase
    r"|\x1b\][^\x07\x1b\x9c]{0,1024}(?:\x07|\x1b\\|\x9c)"  # titles, links
)

_ASCII = {
    "±": "+/-",
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "−": "-",
    "–": "-",
    "—": "-",
    "×": "x",
    "·": ".",
    "…": "...",
    "°": " deg",
    "²": "^2",
    "³": "^3",
    "µ": "u",
    "μ": "u",
    "σ": "sigma",
    "ρ": "rho",
    "Ω": "ohm",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "\xa0": " ",
}


def plain(text: str, limit: int | None = None) -> str:
    """Make one harmless line of any text.

    Parameters
    ----------
    text : str
        From a log, a file name or a file that the team edits.
    limit : int, optional
        Longest result, in characters; what is longer ends in "...".

    Returns
    -------
    str
        Without terminal sequences, control and formatting characters; line ends, tabs and
        runs of them are one space.
    """
    if not text.isprintable():
        text = _SEQUENCES.sub("", text)
        text = "".join(_harmless(c) for c in text)
        text = re.sub(r" {2,}", " ", text)
    if limit is not None and len(text) > limit:
        text = text[: max(0, limit - 3)].rstrip() + "..."
    return text


def _harmless(char: str) -> str:
    if char.isprintable():
        return char
    kind = unicodedata.category(char)
    if kind in ("Cs", "Co", "Cn"):
        return "?"
    if char in "\t\n\v\f\r\x1c\x1d\x1e\x1f\x85" or kind.startswith("Z"):
        return " "
    return ""


def printable(text: str, encoding: str) -> str:
    """Replace what an encoding can't take by its ASCII spelling, or by "?".

    Parameters
    ----------
    text : str
        Any text.
    encoding : str
        Name of the stream's encoding; an unknown one counts as ASCII.
    """
    if can_print(text, encoding):
        return text
    return "".join(c if can_print(c, encoding) else _ASCII.get(c, "?") for c in text)


def can_print(text: str, encoding: str) -> bool:
    """Whether an encoding can take every character of a text."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    except LookupError:
        return text.isascii()
    return True


def json_printable(text: str, encoding: str) -> str:
    r"""Replace what an encoding can't take in a JSON text by ``\uXXXX``, which means the same.

    Outside of strings JSON is ASCII, so every other character stands within a string.
    """
    if can_print(text, encoding):
        return text
    return "".join(c if can_print(c, encoding) else _escaped(c) for c in text)


def _escaped(char: str) -> str:
    units = char.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2))
