"""Text as it is shown: a terminal or a page gets signs that it can print, and never a command."""

import re
import sys
from typing import Final

UNSHOWABLE: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control codes, marks that turn the direction of writing, and halves of pairs, as bytes that are not UTF-8 become;
line feed and tab may stay."""

PLAIN: Final = str.maketrans({
    "±": "+/-", "²": "^2", "³": "^3", "×": "x", "·": "*", "−": "-", "–": "-", "—": "-", "…": "...", "°": "deg ",
    "µ": "u", "μ": "u", "“": '"', "”": '"', "„": '"', "‘": "'", "’": "'", "→": "->", "⇄": "<->", "≥": ">=", "≤": "<=",
    "Σ": "sum ", "√": "root ", "Δ": "Delta ", "½": "1/2", "χ": "chi", "ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss",
    "é": "e", "è": "e", "₀": "0", "₁": "1", "₂": "2", "₃": "3", "₄": "4", "₅": "5", "₆": "6",
})  # fmt: skip
"""Signs of our pages for terminals that lack them."""


def visible(text: str) -> str:
    r"""The text with every sign that a terminal could obey written out.

    Examples
    --------
    >>> visible("jar \x1b[31m3\udcff")
    'jar \\x1b[31m3\\udcff'
    """
    return UNSHOWABLE.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def say(text: str, *, error: bool = False) -> None:
    """Print to the terminal, whatever signs it knows; those it lacks are spelled out."""
    stream = sys.stderr if error else sys.stdout
    encoding = getattr(stream, "encoding", None) or "utf-8"
    out = visible(text)
    try:
        out.encode(encoding)
    except UnicodeEncodeError:
        out = "".join(_spelled(sign, encoding) for sign in out)
    print(out, file=stream)


def _spelled(sign: str, encoding: str) -> str:
    try:
        sign.encode(encoding)
    except UnicodeEncodeError:
        return sign.translate(PLAIN).encode(encoding, "replace").decode(encoding)
    return sign
