"""The decline forms: one file each, named after its form, with all that a form is as `FORM`.

To add a form: write its file (a `DeclineForm`), and name it here. The fit, the case (`Fit.forms`), the tables and the
documents take it from there.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .decline_form import DeclineForm

FORMS: tuple[str, ...] = ("modified_hyperbolic", "stretched_exponential", "duong")
"""Names of the forms. The place of a form is the number it has in results on disk: add at the end."""


def form_code(form: str | int) -> int:
    """Number of a form (its place in `FORMS`, dimensionless) from its name or number; ValueError names the forms."""
    if isinstance(form, str):
        if form in FORMS:
            return FORMS.index(form)
    elif 0 <= int(form) < len(FORMS):
        return int(form)
    raise ValueError(f"unknown decline form {form!r}; known: {', '.join(FORMS)}")


def form_of(form: str | int) -> DeclineForm:
    """A form (no unit) by its name or number; ValueError names the forms."""
    return _load(FORMS[form_code(form)])


@cache
def _load(name: str) -> DeclineForm:
    loaded: DeclineForm = import_module(f"{__name__}.{name}").FORM
    return loaded
