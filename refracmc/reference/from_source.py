"""What the reference takes from the source: keys, distributions, tables, charts, measures, commands, public names.

Each function gives pieces of text; a file of this folder asks for them by a line ``{{ name }}``.
"""

from __future__ import annotations

import argparse
import ast
import importlib.util
import inspect
import re
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from refracmc.reference.text import Heading, Listing, Paragraph, Piece, Table


def _cell(text: str) -> str:
    return text or "-"


def keys() -> list[Piece]:
    """One table a section of the case: every key with all that the schema says of it."""
    from refracmc.case.key_table import KeyRow, key_rows
    from refracmc.case.units import si_twin

    sections: dict[str, list[KeyRow]] = {}
    for row in key_rows():
        sections.setdefault(row.path.rpartition(".")[0], []).append(row)
    pieces: list[Piece] = []
    for section, members in sections.items():
        rows, others = [], {}
        for row in members:
            name = row.path.removeprefix(f"{section}.")
            cell = f"`{name}`" + (" *" if row.uncertain else "")
            twin = si_twin(name)
            if twin is not None:
                others[cell] = twin[0]
            rows.append(
                (
                    cell,
                    row.meaning,
                    _cell(row.unit),
                    row.default,
                    _cell(row.allowed),
                    _cell(row.source),
                    f"`{twin[0]}`, multiplied by {twin[1]:.9g}" if twin else "-",
                )
            )
        head = ("key", "meaning", "unit", "default", "allowed", "source", "or in SI")
        pieces += [Heading(f"[{section}]"), Table(head, tuple(rows), section, (0, 2, 3, 1), others)]
    return pieces


def distributions() -> list[Piece]:
    """The kinds of distribution with the keys that state them."""
    from refracmc.sampling.distributions import KINDS, may_be_added

    rows = []
    for kind, sets in KINDS.items():
        ways = "; or ".join(", ".join(f"`{key}`" for key in keys) for keys in sets)
        rows.append((f"`{kind}`", ways, _cell(", ".join(f"`{key}`" for key in may_be_added(kind)))))
    return [Table(("dist", "keys that state it", "may be added"), tuple(rows))]


def si_twins() -> list[Piece]:
    """Endings of keys in field units, their SI twins and the factor to field units."""
    from refracmc.case.units import SI_TWINS

    rows = tuple((f"`{field}`", f"`{si}`", f"{factor:.9g}") for field, si, factor in SI_TWINS)
    return [Table(("key ends in", "may be written", "multiplied by"), rows)]


def _columns(specs: Iterable[object]) -> list[Piece]:
    from refracmc.reporting.columns import TableSpec

    pieces: list[Piece] = []
    for spec in specs:
        assert isinstance(spec, TableSpec)
        rows = tuple(
            (
                f"`{c.name}`",
                c.kind + ", may be missing" * c.optional + ", may be inf" * c.endless,
                _cell(c.unit),
                c.meaning,
            )
            for c in spec.columns
        )
        pieces += [
            Heading(spec.key),
            Paragraph(f"{spec.title}. One row is {spec.row}."),
            Table(("column", "kind", "unit", "meaning"), rows, spec.key, (0, 2, 3)),
        ]
    return pieces


def fallbacks() -> list[Piece]:
    """The fallbacks of the job: their choices, what each means and what an attempt takes."""
    from refracmc.job.fallbacks import FALLBACKS

    rows = []
    for fallback in FALLBACKS.values():
        takes = ", ".join(f"`{key}`" for key in (fallback.chance, fallback.hours, fallback.usd) if key)
        for name, meaning in fallback.choices.items():
            cell = _cell(takes if name == fallback.costly else "")
            rows.append((f"`{fallback.key}` = `{name}`", meaning, cell))
    return [Table(("key and value", "what is done", "what it takes"), tuple(rows))]


def run_tables() -> list[Piece]:
    """The tables of a run, column by column."""
    from refracmc.reporting.columns import TABLES

    return _columns(TABLES.values())


def job_tables() -> list[Piece]:
    """The tables of the job alone, column by column."""
    from refracmc.reporting.job_columns import JOB_TABLES

    return _columns(JOB_TABLES.values())


def portfolio_tables() -> list[Piece]:
    """The tables of the choice among wells, column by column."""
    from refracmc.reporting.columns_portfolio import PORTFOLIO_TABLES

    return _columns(replace(spec, key=f"{key}.csv") for key, spec in PORTFOLIO_TABLES.items())


def forms() -> list[Piece]:
    """The decline forms with their four numbers."""
    from refracmc.production.forms import FORMS, form_of

    rows = tuple(
        (
            f"`{form}`" + (" (only where named)" if form_of(form).optional else ""),
            slot.name,
            slot.unit,
            slot.meaning,
        )
        for form in FORMS
        for slot in form_of(form).slots
    )
    return [Table(("form", "number", "unit", "meaning"), rows)]


def measures() -> list[Piece]:
    """The measures of a strategy, from their records."""
    from refracmc.measures import SUMMARY

    head = ("measure", "unit", "definition", "undefined", "no mean", "source")
    rows = tuple(
        (f"`{m.name}`", m.unit_for("bbl") + (f" or {m.unit_for('Mcf')}" if m.unit_for("") != m.unit else ""),
         m.meaning, _cell(m.undefined), _cell(m.no_mean), m.source)
        for m in SUMMARY
    )  # fmt: skip
    return [Table(head, rows, brief=(0, 1, 2))]


def trial_columns() -> list[Piece]:
    """The columns of every trial."""
    from refracmc.measures import PER_TRIAL, trial_column

    return [
        Table(("column", "unit", "meaning"), tuple((f"`{name}`", *trial_column(name)) for name in PER_TRIAL))
    ]


def charts() -> list[Piece]:
    """The charts of a well in a run and what each shows."""
    from refracmc.reporting.charts import CHARTS

    return _charts((kind.key, kind.caption) for kind in CHARTS)


def charts_of_all_wells() -> list[Piece]:
    """The charts over all wells of a run."""
    from refracmc.reporting.charts_all_wells import CHARTS_OF_ALL_WELLS

    return _charts((kind.key, kind.caption) for kind in CHARTS_OF_ALL_WELLS)


def _charts(shown: Iterable[tuple[str, str]]) -> list[Piece]:
    return [Table(("chart", "what it shows"), tuple((f"`{key}`", caption) for key, caption in shown))]


def _bare(function: Callable[..., object]) -> str:
    """Names and defaults of a function's arguments, without their types."""
    parts, keywords = [], False
    for name, p in inspect.signature(function).parameters.items():
        if p.kind is p.KEYWORD_ONLY and not keywords:
            parts.append("*")
            keywords = True
        parts.append(name if p.default is p.empty else f"{name}={p.default!r}")
    return f"({', '.join(parts)})".replace("'", '"')


def _carries(function: Callable[..., object]) -> str:
    """Public names of the class a function gives, where it is one of its own module."""
    gives = getattr(
        sys.modules[function.__module__], str(inspect.signature(function).return_annotation), None
    )
    if not inspect.isclass(gives):
        return ""
    names = [*getattr(gives, "__dataclass_fields__", ()), *vars(gives)]
    plain = [n if not inspect.isfunction(getattr(gives, n, None)) else f"{n}()" for n in dict.fromkeys(names)]
    return ", ".join(f"`.{n}`" for n in plain if not n.startswith("_"))


def python_names() -> list[Piece]:
    """The public names with their arguments, what they give, and the first sentence they say of themselves."""
    package = sys.modules["refracmc"]  # loaded before any of its modules, and above them all
    rows = []
    for name in package.__all__:
        thing = getattr(package, name)
        if isinstance(thing, str):
            rows.append((f"`{name}`", "-", "-", "the release"))
            continue
        text = " ".join((inspect.getdoc(thing) or "").partition("\n\n")[0].split())
        call = "-" if inspect.isclass(thing) else f"`{name}{_bare(thing)}`"
        rows.append((f"`{name}`", call, "-" if inspect.isclass(thing) else _cell(_carries(thing)), text))
    return [Table(("name", "call", "result has", "what it is"), tuple(rows))]


def _words(action: argparse.Action) -> str:
    if action.option_strings:
        return " ".join([action.option_strings[-1], *([str(action.metavar)] if action.metavar else [])])
    return str(action.metavar or action.dest) + ("..." if action.nargs in ("+", "*") else "")


def commands(parser: argparse.ArgumentParser) -> list[Piece]:
    """Every command with its options, as the parser of the command line knows them."""
    action = next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    told = {choice.dest: choice.help or "" for choice in action._choices_actions}
    pieces: list[Piece] = []
    for name, command in action.choices.items():
        actions = [a for a in command._actions if a.dest != "help"]
        rows = tuple(
            (
                f"`{_words(a)}`",
                ("must be given: " if a.required and a.option_strings else "") + (a.help or "-"),
            )
            for a in actions
        )
        needed = [_words(a) for a in actions if a.required or (not a.option_strings and a.nargs != "*")]
        line = " ".join(["refracmc", name, *needed])
        pieces += [
            Heading(name),
            Paragraph(f"`{line}`: {told[name]}."),
            Table(("option", "meaning"), rows, name),
        ]
    return pieces


def rules(module: str) -> list[Piece]:
    """The rules a module states in its docstring, read without loading it: numbered or named ones as a list."""
    file = importlib.util.find_spec(f"refracmc.{module}")
    assert file is not None
    assert file.origin is not None
    text = ast.get_docstring(ast.parse(Path(file.origin).read_text("utf-8"))) or ""
    pieces: list[Piece] = []
    for group in text.split("\n\n")[1:]:
        if group.startswith("To add"):  # is for who changes the source
            continue
        first, *items = re.split(r"^(?=\d+ [A-Z]|\w+ {2,}[A-Z])", group, flags=re.MULTILINE)
        pieces += [Paragraph(" ".join(first.split()))] if first else []
        named = (re.sub(r"^(\d+) ", r"\1. ", re.sub(r"^(\w+) {2,}", r"\1: ", item)) for item in items)
        pieces += [Listing(tuple(" ".join(item.split()) for item in named))] if items else []
    return pieces


def methods() -> list[Piece]:
    """The isolation methods and what each does."""
    from refracmc.job.methods import METHODS

    rows = tuple((f"`{name}`", f"`[strategies.methods.{name}]`", m.meaning) for name, m in METHODS.items())
    return [Table(("method", "section", "what is done"), rows)]


def method_rules() -> list[Piece]:
    """The rules of the isolation methods, and those they have in common."""
    from refracmc.job.methods import METHODS

    return [piece for name in (*METHODS, "__init__") for piece in rules(f"job.methods.{name}")]


SOURCES: Mapping[str, Callable[[], list[Piece]]] = MappingProxyType(
    {
        "keys": keys,
        "distributions": distributions,
        "si_twins": si_twins,
        "run_tables": run_tables,
        "job_tables": job_tables,
        "portfolio_tables": portfolio_tables,
        "forms": forms,
        "measures": measures,
        "trial_columns": trial_columns,
        "charts": charts,
        "charts_of_all_wells": charts_of_all_wells,
        "fallbacks": fallbacks,
        "job_rules": lambda: rules("job.rules"),
        "methods": methods,
        "method_rules": method_rules,
        "python_names": python_names,
    }
)
"""What a line ``{{ name }}`` stands for; ``{{ commands }}`` is asked of the parser."""
