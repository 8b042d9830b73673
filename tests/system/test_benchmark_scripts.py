"""The hand-written scripts that the benchmark compares with value the same cash flows as the engine.

Oracle: two plain scripts that know nothing of the package. A comparison of speeds says something only so.
"""

import json
from pathlib import Path

import pytest

from benchmarks import __main__ as benchmark
from benchmarks import whole_arrays


def test_scripts_and_engine_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    assert benchmark.agreement(6, 96) < 1e-9
    # negative control: a month of the year forgotten in the script's look-ahead
    real = whole_arrays.twelve_months
    monkeypatch.setattr(whole_arrays, "twelve_months", lambda stream: 0.9 * real(stream) - 0.1 * stream)
    with pytest.raises(RuntimeError, match=r"differ by|defined in other trials"):
        benchmark.agreement(2, 96)


@pytest.mark.slow
def test_the_command_measures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    monkeypatch.setattr(benchmark, "ENGINES", {"whole": benchmark.ENGINES["whole"]})
    monkeypatch.setattr(benchmark, "agreement", lambda: 1e-12)
    assert benchmark.main(["--rounds", "1", "--json", str(tmp_path / "b.json")]) == 0
    content = json.loads((tmp_path / "b.json").read_text())
    for line in content["engines"].values():
        assert line["us_per_trial"] > 0.0
        assert line["peak_mb"] > 50.0
    assert content["engines"]["whole"]["times_faster_than_whole_arrays"] == 1.0
    assert "script, whole arrays" in capsys.readouterr().out
