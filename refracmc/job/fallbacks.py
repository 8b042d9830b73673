"""Fallbacks: what is done about a sleeve that does not close, open or reopen, and what a patch means for those below.

A fallback is one record here: the key of [strategies] that chooses it, its choices with what each means, the chance,
hours and cost it takes (keys of [job] and [job.cost]), and the part of the cost it is paid in. The case, `JobPolicy`,
its faults and the reference follow the records. Its rule is one function here, called where `rules.do_job` comes to it.

To add a choice: name it in its record; write its rule as a function here, on marks of sleeves; call it in `rules`, with
a truth of `arrays.Well` that says whether it is chosen; state it in the docstring of `rules`; and write it once more
in tests/second_route/job.py. Hours and cost of a kind that is not there yet: `days.hours_of`, `cost.cost_parts`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from refracmc.compiler import rule


@dataclass(frozen=True)
class Fallback:
    """key : of [strategies]; meaning : of the key; choices : what each means, the default first; costly : the choice
    that costs; chance, hours, usd : keys of what it takes, "" where there is none; cost_part : of `COST_PARTS`."""

    key: str
    meaning: str
    choices: Mapping[str, str]
    costly: str
    chance: str = ""
    hours: str = ""
    usd: str = ""
    cost_part: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Its choices, the default first."""
        return tuple(self.choices)


FALLBACKS: Mapping[str, Fallback] = MappingProxyType(
    {
        fallback.key: fallback
        for fallback in (
            Fallback(
                "when_not_closing",
                "fallback for a sleeve that does not close",
                {
                    "accept": "the sleeve stays open and takes fluid from deeper stages",
                    "patch": "it is patched where a deeper stage follows; its production is lost",
                },
                "patch",
                "patch_success",
                "patch_hours",
                "patch_usd",
                "patches",
            ),
            Fallback(
                "when_not_opening",
                "fallback for a sleeve that does not open",
                {
                    "skip": "the stage is left out",
                    "perforate": "jetted or perforated beside the sleeve",
                },
                "perforate",
                "perforate_success",
                "perforate_hours",
                "perforate_usd",
                "perforations",
            ),
            Fallback(
                "when_not_reopening",
                "fallback for a sleeve that does not reopen at the end",
                {
                    "accept": "the sleeve's production is lost",
                    "perforate": "jetted or perforated beside the sleeve",
                },
                "perforate",
                "perforate_success",
                "perforate_hours",
                "perforate_usd",
                "perforations",
            ),
            Fallback(
                "patched_restricts",
                "what a patch means for deeper stages: nothing, a slim assembly (hours and cost), or that they are "
                "lost",
                {
                    "nothing": "tools pass a patch as if it were not there",
                    "slim": "stages below a patch need a slim assembly: hours and cost for each, one trip more for the "
                    "job",
                    "lost": "no tool gets below a patch: stages there are not treated, and sleeves closed before it "
                    "was set "
                    'stay closed. Meant for patches on record; with `when_not_closing = "patch"` a patch only loses',
                },
                "slim",
                "",
                "slim_hours_per_stage",
                "slim_stage_usd",
                "slim_tools",
            ),
        )
    }
)
"""The fallbacks by their key."""


@rule
def is_patched(stays_open: bool, deeper_planned: bool, chosen: bool) -> bool:
    """4 Whether a patch is tried at a sleeve that stays open: by its chance, where a deeper stage is planned."""
    return chosen & deeper_planned & stays_open


@rule
def is_perforated(stuck: bool, chosen: bool) -> bool:
    """5 and 9 Whether a sleeve that did not open or reopen is perforated: one attempt, by its chance."""
    return stuck & chosen
