"""What a case assumes of the response by leaving a key out, where the engineer must hear it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from refracmc.case.response_section import Response
from refracmc.case.size_section import size_told, size_warning

if TYPE_CHECKING:
    from refracmc.case.validated_case import WellCase


def no_response_sentence(response: Response) -> str:
    """Whether the answer reckons with jobs that bring nothing."""
    chance, zeros = response.no_response_chance, response.zero_uplift_chance
    if zeros > 0.0:
        return f"In {zeros:.0%} of trials the job brings no new production: zeros of response.uplift."
    if "no_response_chance" not in response.model_fields_set:
        return (
            "The answer assumes that every job responds: response.no_response_chance is not stated, and many jobs on "
            "record brought nothing."
        )
    if chance.support()[1] == 0.0:
        return "Every job is taken to respond, as the case states."
    return f"In {chance.mean():.0%} of trials the job brings no new production (response.no_response_chance)."


def hopeful_sentence(response: Response) -> str:
    """What else is left at a value that favours the job; empty where nothing is."""
    limits = ("liquid_limit_bbl_per_d", "gas_limit_mcf_per_d")
    left = [
        text
        for keys, text in (
            (("uptime",), "it runs after the job as it ran before (uptime)"),
            (limits, f"no lift, tubing or water handling limits its rate ({', '.join(limits)})"),
            (("revives_idle",), "a job brings it back where it stands idle (revives_idle)"),
        )
        if not response.model_fields_set & set(keys)
    ]
    return f"What is not stated favours the job: {'; '.join(left)}." if left else ""


def by_well(sentences: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Sentences of wells, (well id, sentence or nothing), each once: behind its wells where not all share it."""
    wells: dict[str, list[str]] = {}
    every: set[str] = set()
    for well, sentence in sentences:
        every.add(well)
        if sentence:
            wells.setdefault(sentence, []).append(well)
    return tuple(
        sentence if len(ids) == len(every) else f"{', '.join(ids)}: {sentence}"
        for sentence, ids in wells.items()
    )


def response_told(wells: Iterable[WellCase]) -> tuple[str, ...]:
    """All of it, for the wells."""
    wells = tuple(wells)
    hopes = ((well.id, hopeful_sentence(well.settings.response)) for well in wells)
    sizes = ((well.id, size_told(well.settings.job, well.settings.strategies)) for well in wells)
    return (*no_response_told(wells), *by_well(hopes), *by_well(sizes))


def told_on_the_page(wells: Iterable[WellCase]) -> tuple[str, ...]:
    """What page one says of it: jobs that do not respond, and job size where it does not reach the response."""
    wells = tuple(wells)
    sizes = ((well.id, size_warning(well.settings.job)) for well in wells)
    return (*no_response_told(wells), *by_well(sizes))


def no_response_told(wells: Iterable[WellCase]) -> tuple[str, ...]:
    """`no_response_sentence` of the wells."""
    return by_well((well.id, no_response_sentence(well.settings.response)) for well in wells)
