"""Two finished runs against each other: which inputs differ, what moved, and how much of it is noise."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from refracmc.commands.difference_text import difference_text
from refracmc.commands.output_folders import check_folder, make_folder
from refracmc.csv_text import csv_text
from refracmc.decisions.input_changes import InputsByWell, input_changes
from refracmc.decisions.run_differences import (
    NOISE,
    BestRefrac,
    Errors,
    Row,
    difference_rows,
    has_turned,
)
from refracmc.engine import manifest, store
from refracmc.errors import Fault, InputError
from refracmc.measures import in_json
from refracmc.sampling.estimators import mean_with_error
from refracmc.whole_file import write_whole

_SAME_TRIALS = ("seed", "trials", "design", "block_size")
"""Runs in which these are the same have the same trials: one of a number has the same luck in both."""


@dataclass(frozen=True)
class Difference:
    """Two runs against each other; `content` has the keys that `refracmc explain json` lists."""

    content: dict[str, Any]

    def json(self) -> str:
        """As JSON; what is not known is null."""
        return json.dumps(self.content, indent=2, allow_nan=False)

    def text(self) -> str:
        """For a reader."""
        return difference_text(self.content)


class FinishedRun:
    """A finished run as it is read: every file against the digests of its manifest. InputError where one is not so."""

    def __init__(self, folder: Path) -> None:
        found = manifest.read_manifest(folder)
        if found is None:
            remedy = "name the folder that `run` printed, or that of one of its scenarios"
            raise InputError(Fault(str(folder), "no finished run", "the folder of a finished run", remedy))
        self.folder, self.run = folder, found["run"]
        self.numbers = {str(well["well"]): k for k, well in enumerate(self.run["wells"])}

    def _rows(self, table: str) -> list[Row]:
        data = manifest.read_checked(self.folder, f"tables/{table}.parquet")
        frame = pd.read_parquet(io.BytesIO(data))
        known = frame.astype(object).where(frame.notna(), None)
        return [{str(key): value for key, value in row.items()} for row in known.to_dict("records")]

    @cached_property
    def inputs(self) -> InputsByWell:
        """Its table of inputs."""
        return InputsByWell(self._rows("inputs"))

    @cached_property
    def strategies(self) -> dict[str, str]:
        """The best refrac of each well."""
        return {str(row["well"]): str(row["strategy"]) for row in self._rows("decision")}

    @cached_property
    def verdicts(self) -> dict[str, str]:
        """The verdict on each well."""
        return {str(row["well"]): str(row["verdict"]) for row in self._rows("verdicts")}

    def best_refrac(self, well: str) -> BestRefrac:
        """Trials of a well."""
        blocks, entry = self.run["blocks"], self.run["wells"][self.numbers[well]]
        values = store.read_values(self.folder, entry["number"], len(blocks["trials"]))
        npv, incremental, capital = (
            values[blocks["measures"].index(name)] for name in ("npv", "incremental_npv", "capex")
        )
        best = entry["strategies"].index(self.strategies[well])
        return BestRefrac(npv[0].copy(), incremental[best].copy(), capital[best].copy())

    def error_of(self, values: Any) -> tuple[float, float]:
        """Mean and its standard error of values (n,) by the design of the run."""
        got = mean_with_error(values, self.run["blocks"]["trials"], self.run["design"])
        return float(got.value), float(got.se)

    @property
    def head(self) -> dict[str, Any]:
        """What it is a run of."""
        named = {key: self.run[key] for key in ("case", *_SAME_TRIALS, "release")}
        return {"folder": str(self.folder), **named, "scenario": self.run.get("scenario")}


def run_difference(before: str | Path, after: str | Path, *, out: str | Path | None = None) -> Difference:
    """Two finished runs against each other, given by their folders; with `out` OUT/difference.csv is written.

    Raises InputError where a folder holds no finished run or a file of it was altered since.
    """
    if out is not None:
        check_folder(Path(out), Path(out))
    old, new = FinishedRun(Path(before)), FinishedRun(Path(after))
    common = [well for well in old.numbers if well in new.numbers]
    paired = all(old.run[key] == new.run[key] for key in _SAME_TRIALS)
    rows = _difference_rows(old, new, common, Errors(old.error_of, new.error_of, paired))
    content = {
        "before": old.head,
        "after": new.head,
        "errors": "paired" if paired else "independent",
        "noise_standard_errors": NOISE,
        "percentiles": "exceedance: P90 low, P10 high",
        "wells_only_before": [well for well in old.numbers if well not in new.numbers],
        "wells_only_after": [well for well in new.numbers if well not in old.numbers],
        "inputs": input_changes(old.inputs, new.inputs, common),
        "files": _changed_files(old.run, new.run),
        "wells": [
            {
                "well": well,
                "strategy_before": old.strategies[well],
                "strategy_after": new.strategies[well],
                "verdict_before": old.verdicts[well],
                "verdict_after": new.verdicts[well],
                "verdict_turned": has_turned(old.verdicts[well], new.verdicts[well]),
            }
            for well in common
        ],
        "differences": [
            {key: in_json(value) if isinstance(value, float) else value for key, value in row.items()}
            for row in rows
        ],
    }
    if out is not None:
        make_folder(Path(out))
        write_whole(Path(out) / "difference.csv", csv_text(pd.DataFrame(rows)))
    return Difference(content)


def _difference_rows(old: FinishedRun, new: FinishedRun, wells: list[str], errors: Errors) -> list[Row]:
    """Rows of every well that both have, then those of the sum over them, of two wells or more."""
    rows: list[Row] = []
    total: tuple[BestRefrac, BestRefrac] | None = None
    for well in wells:
        before, after = old.best_refrac(well), new.best_refrac(well)
        rows += difference_rows(well, before, after, errors)
        total = (before, after) if total is None else (total[0] + before, total[1] + after)
    if total is not None and len(wells) > 1:
        rows += difference_rows(None, *total, errors)
    return rows


def _changed_files(old: dict[str, Any], new: dict[str, Any]) -> list[dict[str, str]]:
    """Files that were read and differ by their digests, the case file among them."""
    found = []
    before, after = old["input_files_sha256"], new["input_files_sha256"]
    for name in sorted({*before, *after}):
        if before.get(name) != after.get(name):
            how = "only before" if name not in after else "only after" if name not in before else "changed"
            found.append({"file": name, "how": how})
    return found
