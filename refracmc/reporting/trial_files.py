"""Every trial as a table, where the case asks for it: inputs.parquet and results.parquet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from refracmc.engine.draws import draw
from refracmc.engine.plan import WellPlan
from refracmc.engine.trials import stored_measures
from refracmc.measures import PER_TRIAL
from refracmc.reporting.row_files import GROUP_ROWS, parquet_rows


def write_trials(plans: Sequence[WellPlan], folder: Path, sizes: list[int]) -> None:
    """inputs.parquet (well, trial, one column an input) and results.parquet (well, strategy, trial, measures).

    Both are written as they are read, block by block and strategy by strategy.
    """
    _write_inputs(plans, folder, sizes)
    first = pd.DataFrame({"well": [""], "strategy": [""], "trial": np.arange(1)})
    for measure in PER_TRIAL:
        first[measure] = 0.0
    most = max(1, GROUP_ROWS // sizes[0])
    with parquet_rows(folder / "results.parquet", pa.Schema.from_pandas(first, preserve_index=False)) as rows:
        for plan in plans:
            found = stored_measures(plan, folder, sizes)
            for k, name in enumerate(plan.names):
                for block in range(0, len(sizes), most):
                    blocks = range(block, min(block + most, len(sizes)))
                    measures = {m: found[m].rows(k, k + 1, blocks)[0] for m in PER_TRIAL}
                    at = sum(sizes[:block])
                    trials = np.arange(at, at + measures["npv"].size)
                    rows.add(pd.DataFrame({"well": plan.id, "strategy": name, "trial": trials, **measures}))


def _write_inputs(plans: Sequence[WellPlan], folder: Path, sizes: list[int]) -> None:
    def columns(plan: WellPlan, block: int) -> dict[str, Any]:
        draws = draw(plan, block, sizes[block])
        return dict(sorted((name, values) for name, values in draws.items() if values.ndim == 1))

    names = dict.fromkeys(name for plan in plans for name in columns(plan, 0))
    first = pd.DataFrame({"well": [""], "trial": np.arange(1), **dict.fromkeys(names, 0.0)})
    with parquet_rows(folder / "inputs.parquet", pa.Schema.from_pandas(first, preserve_index=False)) as rows:
        for plan in plans:
            at = 0
            for block, size in enumerate(sizes):
                table = pd.DataFrame(
                    {"well": plan.id, "trial": np.arange(at, at + size), **columns(plan, block)}
                )
                rows.add(table.reindex(columns=first.columns))
                at += size
