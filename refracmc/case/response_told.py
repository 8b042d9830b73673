"""What a case assumes of the response by leaving a key out, where the engineer must hear it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from refracmc.case.response_section import Response

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


def by_well(sentences: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """Sentences of wells, (well id, sentence), each once: with its wells before it where not all of them share it."""
    wells: dict[str, list[str]] = {}
    every: set[str] = set()
    for well, sentence in sentences:
        wells.setdefault(sentence, []).append(well)
        every.add(well)
    return tuple(
        sentence if len(ids) == len(every) else f"{', '.join(ids)}: {sentence}"
        for sentence, ids in wells.items()
    )


def no_response_told(wells: Iterable[WellCase]) -> tuple[str, ...]:
    """`no_response_sentence` of the wells."""
    return by_well((well.id, no_response_sentence(well.settings.response)) for well in wells)
