"""Texts in CSV files: none acts as a formula in a program that takes one for a formula by how it begins.

A text that begins with = + - @ (narrow or wide, after spaces or not), with a tab or line break, or with an apostrophe,
has one more apostrophe in front of it; who reads the file takes one leading apostrophe off. Numbers stay as they are.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

_SPACES = "\\t\\n\\v\\f\\r \u00a0\u1680\u2000-\u200f\u2028\u2029\u202f\u205f\u2060\u3000\ufeff"
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b\u2212"
BEGINS = f"^([{_SPACES}]*[{_SIGNS}]|[\\t\\n\\r]|')"
"""How a text begins that gets an apostrophe; a pattern of Python and of Arrow alike."""
_BEGINS = re.compile(BEGINS)


def guarded(value: object) -> object:
    """A text that cannot act as a formula; anything else as it is."""
    return f"'{value}" if isinstance(value, str) and _BEGINS.match(value) else value


def csv_text(frame: pd.DataFrame, header: bool = True) -> bytes:
    """A table as CSV in UTF-8: numbers by their shortest exact text, missing values empty, no text a formula."""
    texts = {str(name): frame[name].map(guarded) for name in frame if frame[name].dtype.kind == "O"}
    guard = frame.assign(**texts)
    returns = any("\r" in text for column in texts.values() for text in column if isinstance(text, str))
    how: Literal[0, 2] = 2 if returns else 0  # all texts quoted: else a lone carriage return ends a row
    return bytes(guard.to_csv(index=False, header=header, lineterminator="\n", quoting=how).encode("utf-8"))
