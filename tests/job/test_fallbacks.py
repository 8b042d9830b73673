"""The records of the fallbacks. Oracle: the members of the job's inputs, rates and cost parts that they name."""

import pytest

from refracmc.job.cost import COST_PARTS, CostRates
from refracmc.job.fallbacks import FALLBACKS
from refracmc.job.inputs import JobInputs, JobPolicy


@pytest.mark.parametrize("key", FALLBACKS)
def test_a_record_names_what_there_is(key: str) -> None:
    fallback = FALLBACKS[key]
    assert getattr(JobPolicy(), key) == fallback.names[0]
    assert fallback.costly in fallback.names[1:]
    assert fallback.hours in JobInputs.names()
    assert fallback.chance in ("", *JobInputs.names())
    assert fallback.usd in CostRates.names()
    assert fallback.cost_part in COST_PARTS
    for choice in fallback.choices:
        assert getattr(JobPolicy(**{key: choice}), key) == choice
    with pytest.raises(ValueError, match=rf"{key} is 'no'; allowed: {', '.join(fallback.names)}"):
        JobPolicy(**{key: "no"})
