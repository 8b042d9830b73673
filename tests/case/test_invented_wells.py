"""The invented field of many wells: the same files every time, wells that run, and the case in configs/.

Oracle: the rules that the generator states, and a second call."""

from pathlib import Path

import pytest

from refracmc import cli
from refracmc.case.invented_wells import MOST_WELLS, invented_field
from refracmc.case.load import load_case
from refracmc.case.starter import write_starter

FORTY = Path(__file__).parents[2] / "configs" / "portfolio"


def test_the_first_wells_are_the_same_however_many_are_made() -> None:
    few, more = invented_field(4), invented_field(7)
    for name, text in few.items():
        assert more[name].startswith(text)
        assert len(more[name]) > len(text)


def test_the_case_of_forty_wells_is_what_the_command_writes(tmp_path: Path) -> None:
    for path in write_starter(tmp_path / "forty", 40):
        assert path.read_bytes() == (FORTY / path.name).read_bytes(), path.name
    case = load_case(FORTY / "case.toml")
    assert (len(case.wells), case.refused, case.data_status) == (40, {}, "invented")
    assert len({well.pad for well in case.wells}) == 14
    assert len({well.area for well in case.wells}) == 3
    assert {well.main_phase for well in case.wells} == {"oil", "gas"}
    mature = 0
    for well in case.wells:
        assert well.history is not None
        last = float(getattr(well.history, well.main_phase)[-12:].max()) / 30.0
        mature += last < 0.3 * well.history.peak_rate_per_d
    assert mature > 30


@pytest.mark.parametrize("count", ["0", "-3", str(MOST_WELLS + 1)])
def test_a_count_out_of_range_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], count: str
) -> None:
    assert cli.main(["new", str(tmp_path / "none"), "--count", count]) == cli.BAD_INPUT
    assert "1 to 5,000 wells" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
