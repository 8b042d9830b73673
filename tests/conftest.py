"""Property tests draw the same examples in every run, so that a change is judged by the change alone.

Few of them by default; as many as were ever asked for with REFRACMC_TESTS=thorough in the environment, as `.ci/run`
does.
"""

import os

from hypothesis import HealthCheck, settings

COMMON = {
    "derandomize": True,
    "deadline": None,
    "suppress_health_check": [HealthCheck.function_scoped_fixture],
}
settings.register_profile("quick", max_examples=25, **COMMON)
settings.register_profile("thorough", max_examples=200, **COMMON)
settings.load_profile(os.environ.get("REFRACMC_TESTS", "quick"))
