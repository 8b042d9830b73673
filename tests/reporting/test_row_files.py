"""A Parquet file written piece by piece.

Oracle: the file pandas writes of the whole table, byte for byte, with the same rows a group.
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from refracmc.reporting import row_files

FRAME = pd.DataFrame(
    {
        "well": np.repeat(["A", "B-1", "C"], [700, 1, 1500]),
        "trial": np.arange(2201),
        "npv": np.random.default_rng(1).standard_normal(2201),
    }
)
SCHEMA = pa.Schema.from_pandas(FRAME.head(1), preserve_index=False)


@pytest.mark.parametrize("cuts", [[], [1], [700, 701], list(range(7, 2201, 13))])
@pytest.mark.parametrize("group", [1 << 20, 1000, 2201])
def test_the_bytes_of_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cuts: list[int], group: int
) -> None:
    monkeypatch.setattr(row_files, "GROUP_ROWS", group)
    FRAME.to_parquet(
        tmp_path / "its", index=False, engine="pyarrow", compression="zstd", row_group_size=group
    )
    with row_files.parquet_rows(tmp_path / "mine", SCHEMA) as rows:
        for start, stop in zip([0, *cuts], [*cuts, len(FRAME)], strict=True):
            rows.add(FRAME.iloc[start:stop])
    assert (tmp_path / "mine").read_bytes() == (tmp_path / "its").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["its", "mine"]


def test_a_fault_leaves_nothing_and_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "table").write_bytes(b"old")

    def fails(_: object) -> None:
        raise OSError(28, os.strerror(28))

    def written(stop: bool) -> None:
        with row_files.parquet_rows(tmp_path / "table", SCHEMA) as rows:
            rows.add(FRAME)
            if stop:
                raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        written(stop=True)
    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(OSError, match=os.strerror(28)):
        written(stop=False)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("table", b"old")]
